//! From a file to a model.
use super::{
    error::{Error, Fault},
    format::Format,
    gltf,
    limits::Limits,
    model::Model,
    obj, ply,
    recognise::recognise,
    stl, three_mf,
};
use crate::{
    job::{ModelSource, read_input},
    units::Unit,
};
use std::path::Path;

/// A model that was read, and what its file is.
#[derive(Clone, Debug)]
pub struct Read {
    /// The parts of the file.
    pub model: Model,
    /// What the file is.
    pub format: Format,
}

/// Reads the mesh of a model from a file: STL, OBJ, PLY, glTF, GLB or 3MF, by its content.
///
/// Lengths are taken from `unit` to millimetres; STL, OBJ and PLY files do not tell theirs. Where a file tells its unit (glTF: metres),
/// a stated one is believed instead: many programs write millimetres into glTF files. Axes stay as the file has them.
///
/// # Errors
/// Every variant of [`Fault`]. Files that a glTF document names are read from the folder of the document alone.
pub fn read(path: &Path, unit: Option<Unit>, limits: Limits) -> Result<Read, Error> {
    let read = || {
        let bytes = read_input(path, limits.bytes)?;
        of_bytes(path, &bytes, unit, limits)
    };
    read().map_err(|fault| Error {
        path: path.to_owned(),
        fault,
    })
}

/// Reads the mesh that a job names, all files as one model.
///
/// # Errors
/// As [`read`], and where all files together have more than `limits` allow.
pub fn read_source(source: &ModelSource, limits: Limits) -> Result<Model, Error> {
    let (mut models, mut facets, mut parts) = (Vec::new(), 0, 0);
    for file in &source.files {
        let model = read(&file.path, source.unit, limits)?.model;
        let model = match &file.part {
            Some(name) => model.into_part(name),
            None => model,
        };
        facets += model.facets().len();
        parts += model.parts().len();
        let sums = [
            ("facets", facets, limits.facets),
            ("parts", parts, limits.parts),
        ];
        if let Some((what, found, most)) = sums.into_iter().find(|(_, found, most)| found > most) {
            return Err(Error {
                path: file.path.clone(),
                fault: Fault::TooMany {
                    what,
                    found: found as u64,
                    is_least: true,
                    most: most as u64,
                    advice: "with the files before it; leave out what is not compared",
                },
            });
        }
        models.push(model);
    }
    Ok(Model::joined(models.into_iter()).expect("a job names at least one file"))
}

fn of_bytes(path: &Path, bytes: &[u8], unit: Option<Unit>, limits: Limits) -> Result<Read, Fault> {
    let format = recognise(path, bytes)?;
    if unit.is_none() && !format.has_unit() {
        return Err(Fault::UnitMissing { format });
    }
    let stem = path
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned());
    let name = stem.as_deref().unwrap_or_default();
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let (soup, own_unit) = match format {
        Format::AsciiStl => (stl::read_ascii(bytes, name, limits)?, 1.0),
        Format::BinaryStl => (stl::read_binary(bytes, name, limits)?, 1.0),
        Format::Obj => (obj::read(bytes, name, limits)?, 1.0),
        Format::Ply => (ply::read(bytes, name, limits)?, 1.0),
        Format::Gltf => (gltf::read(bytes, folder, limits)?, 1000.0),
        Format::Glb => (gltf::read_binary(bytes, folder, limits)?, 1000.0),
        Format::ThreeMf => three_mf::read(bytes, limits)?,
    };
    let unit_mm = unit.map_or(own_unit, Unit::millimetres);
    Ok(Read {
        model: Model::of_soup(soup, unit_mm)?,
        format,
    })
}

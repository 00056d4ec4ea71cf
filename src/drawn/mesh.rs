//! The mesh of a job, read once for all of its views.
use super::Error;
use crate::{
    job::{Landmark, MirroredPart, ModelSource, listed_with_nearest},
    meshes::{self, CREASE_DEG, Edges, Features, Limits, MeshEdges, Model, Projection},
    printable::listed,
    stop::Stopped,
    units::unit_between,
};

use super::settings::DRAWN;

/// The mesh of a job.
#[derive(Clone, Debug)]
pub struct JobMesh {
    /// Its parts.
    pub model: Model,
    /// Their edges.
    pub edges: Edges,
    /// From which angle on facets make an edge, degrees.
    crease_deg: f64,
    /// Names of the parts that are right, as the job states them.
    datum: Vec<String>,
    /// Those that its symmetry names.
    mirrored: Vec<MirroredPart>,
}

impl JobMesh {
    /// Reads the files that the job names.
    ///
    /// # Errors
    /// Those of [`meshes::read_source`].
    pub fn read(source: &ModelSource) -> Result<Self, meshes::Error> {
        let model = meshes::read_source(source, Limits::default())?;
        let crease_deg = source.crease_deg.unwrap_or(CREASE_DEG);
        let edges = Edges::of(&model, crease_deg);
        Ok(Self {
            model,
            edges,
            crease_deg,
            datum: source.datum.clone(),
            mirrored: source.mirrored.clone(),
        })
    }

    /// Its corners and feature edges.
    pub fn features(&self) -> Features {
        Features::of(&self.model, &self.edges, self.crease_deg)
    }

    /// Its visible edges from a camera, in a picture of this size (width, height).
    pub(super) fn edges_seen(
        &self,
        projection: &Projection,
        (width, height): (u32, u32),
    ) -> Result<MeshEdges, Stopped> {
        let step = DRAWN.edge_step.get();
        MeshEdges::seen(
            &self.model,
            &self.edges,
            (projection, [width, height]),
            step,
        )
    }

    /// Refuses a symmetry of the model that names a part which the mesh does not have.
    ///
    /// # Errors
    /// [`Error::NoSuchMirrored`].
    pub fn check_symmetry(&self) -> Result<(), Error> {
        let known = || self.model.parts().iter().map(|part| part.name.as_str());
        let is_unknown = |part: &&MirroredPart| known().all(|name| name != part.name);
        match self.mirrored.iter().find(is_unknown) {
            None => Ok(()),
            Some(part) => Err(Error::NoSuchMirrored {
                pointer: part.pointer.clone(),
                part: part.name.clone(),
                known: listed_with_nearest(&part.name, known()),
            }),
        }
    }

    /// Refuses landmarks whose places or parts are not those of the mesh.
    ///
    /// # Errors
    /// What they contradict.
    pub(crate) fn check(&self, landmarks: &[Landmark]) -> Result<(), Error> {
        let parts = self.model.parts();
        let is_unknown = |name: &&String| parts.iter().all(|known| known.name != **name);
        if let Some(part) = self.datum.iter().find(is_unknown) {
            return Err(Error::NoSuchDatum {
                part: part.clone(),
                known: listed(parts.iter().map(|part| part.name.as_str())),
            });
        }
        for landmark in landmarks {
            let Some(part) = &landmark.part else { continue };
            if parts.iter().all(|known| known.name != *part) {
                return Err(Error::NoSuchPart {
                    landmark: landmark.name.clone(),
                    part: part.clone(),
                    known: listed(parts.iter().map(|part| part.name.as_str())),
                });
            }
        }
        self.check_places(landmarks)
    }

    fn check_places(&self, landmarks: &[Landmark]) -> Result<(), Error> {
        if landmarks.iter().filter(|l| l.model_mm.is_some()).count() < 2 {
            return Ok(());
        }
        let [least, greatest] = self.model.model_box();
        let size = diagonal(least, greatest);
        let off = |place: [f64; 3]| {
            let beyond = |k: usize| (least[k] - place[k]).max(place[k] - greatest[k]).max(0.0);
            beyond(0).hypot(beyond(1)).hypot(beyond(2))
        };
        let places = || {
            let placed = |l: &Landmark| l.model_mm;
            landmarks.iter().filter_map(placed)
        };
        let farthest = (landmarks.iter())
            .filter_map(|l| Some((off(l.model_mm?), l)))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let range = |choose: fn(f64, f64) -> f64, from: f64| {
            std::array::from_fn(|k| places().map(|p| p[k]).fold(from, choose))
        };
        let marked = diagonal(
            range(f64::min, f64::INFINITY),
            range(f64::max, f64::NEG_INFINITY),
        );
        let ratio = marked / size;
        let times = if ratio > 1.0 { ratio } else { 1.0 / ratio };
        let units = unit_between(times).map_or(String::new(), |(factor, units)| {
            format!(" ({factor} lies between {units})")
        });
        let words = |k: usize| format!("{:.4} to {:.4}", least[k], greatest[k]);
        let mesh = format!(
            "which reaches in x from {}, in y from {}, in z from {} mm",
            words(0),
            words(1),
            words(2)
        );
        if ratio < DRAWN.least_reach.get() {
            return Err(Error::LargeMesh { times, units, mesh });
        }
        let Some((_, landmark)) = farthest.filter(|(off, _)| *off > DRAWN.beside_mesh.get() * size)
        else {
            return Ok(());
        };
        // Landmarks reach over a part of the model: a unit is asked about where they reach several times as far.
        let hint = if ratio > 2.0 {
            format!(
                "the landmarks reach {times:.0} times as far as the mesh{units}; see whether \"unit\" in \"model\" is the unit that the mesh \
                 was exported in"
            )
        } else {
            "see whether the mesh has the axes of \"model_mm\" (CAD has z up, glTF y), and its zero"
                .to_owned()
        };
        Err(Error::BesideMesh {
            name: landmark.name.clone(),
            mesh,
            hint,
        })
    }
}

fn diagonal(least: [f64; 3], greatest: [f64; 3]) -> f64 {
    let side = |k: usize| greatest[k] - least[k];
    side(0).hypot(side(1)).hypot(side(2))
}

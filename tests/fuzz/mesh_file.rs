//! Mesh files: what is read obeys the limits and can be drawn from anywhere, and everything else is refused in words.
use crate::{
    harness::{Checked, Outcome},
    words,
};
use std::{fs, path::Path};
use tickstrip::{
    meshes::{self, CREASE_DEG, Edges, Limits, Model, Projection},
    units::Unit,
};

/// Small, so that a search finds what goes beyond them.
const LIMITS: Limits = Limits {
    bytes: 1 << 21,
    facets: 2000,
    parts: 20,
};
/// Longest refusal, bytes, the path included.
const MOST_WORDS: usize = 2000;
const SIZE: [u32; 2] = [48, 32];

/// Checks a mesh; `folder` is where it may be written.
pub fn check(folder: &Path, input: &[u8]) -> Checked {
    // The name decides where the content may be two things.
    let name = ["input", "input.obj", "input.stl"][input.len() % 3];
    let path = folder.join(name);
    fs::write(&path, input).map_err(|e| format!("the test cannot write: {e}"))?;
    let read = match meshes::read(&path, Some(Unit::Inch), LIMITS) {
        Ok(read) => read,
        Err(error) => {
            words::check_code(error.code())?;
            words::check("refusal", &error.to_string(), MOST_WORDS)?;
            return Ok(Outcome::Refused);
        }
    };
    check_model(&read.model)?;
    let edges = Edges::of(&read.model, CREASE_DEG);
    for matrix in cameras(&read.model) {
        match Projection::new(matrix, &read.model) {
            Ok(projection) => check_drawing(&read.model, &edges, &projection)?,
            Err(error) => words::check_code(error.code())?,
        }
    }
    Ok(Outcome::Accepted)
}

fn check_model(model: &Model) -> Result<(), String> {
    let (facets, parts) = (model.facets().len(), model.parts());
    if facets == 0 || facets > LIMITS.facets || parts.len() > LIMITS.parts {
        return Err(format!("{facets} facets, {} parts", parts.len()));
    }
    let mut next = 0;
    for part in parts {
        if part.facets.start != next || part.facets.is_empty() {
            return Err(format!("facets {:?} after {next}", part.facets));
        }
        next = part.facets.end;
        words::check("name", &part.name, 1000)?;
    }
    let is_there = |corner: &u32| (*corner as usize) < model.vertices().len();
    let is_finite = model.vertices().iter().flatten().all(|v| v.is_finite());
    match next == facets && is_finite && model.facets().iter().flatten().all(is_there) {
        true => Ok(()),
        false => Err("facets without a part or a corner, or places that are no numbers".to_owned()),
    }
}

/// A parallel one, one from outside, and one from within the model.
fn cameras(model: &Model) -> [[[f64; 4]; 3]; 3] {
    let [least, greatest] = model.model_box();
    let middle: [f64; 3] = std::array::from_fn(|k| (least[k] + greatest[k]) / 2.0);
    let size = (0..3).map(|k| greatest[k] - least[k]).fold(0.0, f64::max);
    let [w, h] = SIZE.map(f64::from);
    let scale = h / size;
    // x right, z down, y away; the distance in sizes.
    let at = |distance: f64| {
        let rows = [
            [distance * h, w / 2.0, 0.0],
            [0.0, h / 2.0, -distance * h],
            [0.0, 1.0, 0.0],
        ];
        let eye = [middle[0], middle[1] - distance * size, middle[2]];
        rows.map(|[a, b, c]| [a, b, c, -(a * eye[0] + b * eye[1] + c * eye[2])])
    };
    let parallel = [
        [scale, 0.3 * scale, 0.0, w / 2.0 - scale * middle[0]],
        [0.0, 0.2 * scale, -scale, h / 2.0 + scale * middle[2]],
        [0.0, 0.0, 0.0, 1.0],
    ];
    [parallel, at(2.0), at(0.1)]
}

fn check_drawing(model: &Model, edges: &Edges, projection: &Projection) -> Result<(), String> {
    let drawing = meshes::draw(model, edges, projection, SIZE).map_err(|e| e.to_string())?;
    for line in &drawing.lines {
        let is_inside =
            |p: [f64; 2]| (0..2).all(|k| (-1.0..=f64::from(SIZE[k]) + 1.0).contains(&p[k]));
        if line.part >= model.parts().len() || !line.points.iter().all(|p| is_inside(p.xy())) {
            return Err(format!("a line outside of the picture: {line:?}"));
        }
    }
    Ok(())
}

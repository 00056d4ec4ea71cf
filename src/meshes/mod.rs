//! From mesh files to named parts, their feature edges, and the model drawn from a camera.
mod edges;
mod error;
mod format;
mod gltf;
mod groups;
mod limits;
mod model;
mod obj;
mod picture;
mod ply;
mod points;
mod polygon;
mod polylines;
mod projection;
mod read;
mod recognise;
mod screen;
mod soup;
mod stl;
#[cfg(test)]
mod tests;
mod three_mf;
mod transform;
mod visible;
mod weld;
mod words;

pub use edges::{CREASE_DEG, EdgeKind, Edges};
pub use error::{Error, Fault};
pub use format::Format;
pub use gltf::buffer_files;
pub use limits::Limits;
pub use model::{Model, Part};
pub use picture::{Drawing, MOST_PIXELS, draw};
pub use points::{EdgePlace, MeshEdges};
pub use polylines::VisibleLine;
pub use projection::{Projection, ProjectionError};
pub use read::{Read, read, read_source};

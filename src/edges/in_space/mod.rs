//! Edges of the mesh in several photos that are adjusted together: looked for along their normals in each photo, they are observations
//! of the one adjustment of all cameras and parts.
mod chance;
mod overlap;
mod photo;
mod places;
mod rounds;
mod search;
#[cfg(test)]
mod tests;

pub(crate) use overlap::{InRender, overlaps};
pub(crate) use photo::{PhotoEdges, pixels_of_each};
pub(crate) use places::{MeshPart, MeshParts};
pub(crate) use rounds::refine;

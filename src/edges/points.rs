//! Points on the edges of the render, to a fraction of a pixel, with their normals and the region they lie on.
//!
//! # Source
//! Non-maximum suppression along the gradient with a parabola through three samples: J. Canny (1986); F. Devernay, "A
//! non-maxima suppression method for edge detection with sub-pixel accuracy" (INRIA RR-2724, 1995).
use super::{inside, settings::EDGES};
use crate::{
    frame::{Point, Projective, RenderPx, WorkPx},
    job::Region,
    kernels::{
        Plane, fill,
        gradient::{self, UNIT},
        sample,
    },
    meshes::MeshEdges,
    stop,
};
use image::RgbImage;
use nalgebra::Vector2;
use rayon::prelude::*;

/// A point of an edge, in working pixels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct EdgePoint {
    pub(crate) place: Vector2<f64>,
    /// Unit normal, along the gradient.
    pub(crate) normal: Vector2<f64>,
    /// Index of the region that it lies on.
    pub(crate) region: usize,
    /// Where it is on the model, where that is known.
    pub(crate) space: Option<[f64; 3]>,
}

/// Most points of one region.
const MOST_POINTS: usize = 500;

/// The edge points of a render that lie on a region, each on the smallest one that contains it; `choose` gets all of them, with what says where
/// the regions are, and leaves those that count.
pub(crate) fn find(
    render: &RgbImage,
    regions: &[Region],
    work_from_render: &Projective<WorkPx, RenderPx>,
    choose: impl FnOnce(&mut Vec<EdgePoint>, &Plane<u16>),
) -> Vec<EdgePoint> {
    let outlines: Vec<Vec<[f64; 2]>> = regions
        .iter()
        .map(|r| {
            r.outline
                .iter()
                .map(|p| work_from_render.apply(*p).xy())
                .collect()
        })
        .collect();
    let owners = owners(
        &outlines,
        (render.width() as usize, render.height() as usize),
    );
    let mut of_region: Vec<Vec<EdgePoint>> = vec![Vec::new(); regions.len()];
    let mut all = maxima(render, &owners);
    choose(&mut all, &owners);
    for point in all {
        of_region[point.region].push(point);
    }
    of_region.into_iter().flat_map(thinned).collect()
}

/// The places on a mesh's visible edges as edge points: those of a part on the region of its name; those of parts without one on the
/// smallest region around them that is no part's own. What lies outside of the window of `size` (width, height) is left out.
pub(crate) fn of_mesh(
    mesh: &MeshEdges,
    regions: &[Region],
    work_from_render: &Projective<WorkPx, RenderPx>,
    (width, height): (u32, u32),
) -> Vec<EdgePoint> {
    let named = |part: &String| regions.iter().position(|r| r.name == *part);
    let own: Vec<Option<usize>> = mesh.parts.iter().map(named).collect();
    let mut shared: Vec<usize> = (0..regions.len())
        .filter(|j| !own.contains(&Some(*j)))
        .collect();
    let size = |j: usize| {
        let outline: Vec<[f64; 2]> = regions[j].outline.iter().map(|p| p.xy()).collect();
        area(&outline)
    };
    shared.sort_by(|a, b| size(*a).total_cmp(&size(*b)));
    let mut of_region: Vec<Vec<EdgePoint>> = vec![Vec::new(); regions.len()];
    for found in &mesh.places {
        let in_render = Vector2::new(found.place.x, found.place.y);
        let holds = |j: &&usize| inside::holds(&regions[**j], in_render);
        let Some(region) = own[found.part].or_else(|| shared.iter().find(holds).copied()) else {
            continue;
        };
        let place = work_from_render.apply(found.place);
        let is_inside = (0.0..f64::from(width)).contains(&place.x)
            && (0.0..f64::from(height)).contains(&place.y);
        if is_inside {
            of_region[region].push(EdgePoint {
                place: Vector2::new(place.x, place.y),
                normal: Vector2::from(found.normal),
                region,
                space: Some(found.space.0),
            });
        }
    }
    of_region.into_iter().flat_map(thinned).collect()
}

/// For each pixel, one more than the index of the smallest region that holds it; 0 outside of all.
fn owners(outlines: &[Vec<[f64; 2]>], size: (usize, usize)) -> Plane<u16> {
    let mut by_size: Vec<usize> = (0..outlines.len()).collect();
    by_size.sort_by(|&a, &b| area(&outlines[b]).total_cmp(&area(&outlines[a])));
    let mut owners = Plane::<u16>::zeros((size.1, size.0));
    for j in by_size {
        if stop::is_asked() {
            break;
        }
        let inside = fill::fill_polygon(&outlines[j], size);
        let mark = u16::try_from(j + 1).expect("a view has at most a thousand regions");
        ndarray::Zip::from(&mut owners)
            .and(&inside)
            .par_for_each(|owner, &i| {
                if i != 0 {
                    *owner = mark;
                }
            });
    }
    owners
}

fn area(outline: &[[f64; 2]]) -> f64 {
    let mut twice = 0.0;
    for (k, a) in outline.iter().enumerate() {
        let b = outline[(k + 1) % outline.len()];
        twice += a[0] * b[1] - a[1] * b[0];
    }
    twice.abs() / 2.0
}

/// One point a cell, then every n-th, so that no region has too many.
fn thinned(points: Vec<EdgePoint>) -> Vec<EdgePoint> {
    let mut seen = std::collections::HashSet::new();
    let cell = |v: f64| (v / EDGES.spacing.get()) as i64;
    let one_a_cell: Vec<EdgePoint> = points
        .into_iter()
        .filter(|p| seen.insert((cell(p.place.x), cell(p.place.y))))
        .collect();
    let n = one_a_cell.len();
    if n <= MOST_POINTS {
        return one_a_cell;
    }
    (0..MOST_POINTS)
        .map(|k| one_a_cell[k * n / MOST_POINTS])
        .collect()
}

/// All edge points of a picture, row by row; the region that they name is none.
pub(crate) fn in_picture(picture: &RgbImage) -> Vec<EdgePoint> {
    let size = (picture.height() as usize, picture.width() as usize);
    maxima(picture, &Plane::from_elem(size, 1))
}

/// All gradient maxima that lie on a region, row by row.
pub(super) fn maxima(render: &RgbImage, owners: &Plane<u16>) -> Vec<EdgePoint> {
    let (gradient, magnitude) = gradient::strongest_channel(render, EDGES.point_blur.get());
    let (height, width) = magnitude.dim();
    let least = EDGES.least_gradient.get() as f32;
    let clear = EDGES.clear_gradient.get() as f32;
    let of_row = |y: usize| {
        let (gradient, magnitude) = (&gradient, &magnitude);
        (2..width.saturating_sub(2)).filter_map(move |x| {
            let (m, owner) = (magnitude[[y, x]], owners[[y, x]]);
            if m <= least || owner == 0 {
                return None;
            }
            let along = |g: &Plane<i16>| f64::from(f32::from(g[[y, x]]) * UNIT / m);
            let normal = Vector2::new(along(&gradient.x), along(&gradient.y));
            let centre = Vector2::new(x as f64 + 0.5, y as f64 + 0.5);
            let place = sub_pixel(magnitude, centre, normal, m)?;
            if m < clear && !is_narrow(magnitude, place, normal, m) {
                return None;
            }
            Some(EdgePoint {
                place,
                normal,
                region: usize::from(owner) - 1,
                space: None,
            })
        })
    };
    (2..height.saturating_sub(2))
        .into_par_iter()
        .flat_map_iter(of_row)
        .collect()
}

/// Whether the gradient `m` at `place` has fallen off a few pixels to both sides: that of an edge has, that of a band of
/// shading has not.
fn is_narrow(magnitude: &Plane<f32>, place: Vector2<f64>, normal: Vector2<f64>, m: f32) -> bool {
    let beside =
        |t: f64| sample::bilinear(magnitude, place.x + t * normal.x, place.y + t * normal.y);
    let reach = EDGES.band_reach.get();
    let (Some(before), Some(after)) = (beside(-reach), beside(reach)) else {
        return true;
    };
    f64::from(before + after) / 2.0 < EDGES.band_share.get() * f64::from(m)
}

fn sub_pixel(
    magnitude: &Plane<f32>,
    centre: Vector2<f64>,
    normal: Vector2<f64>,
    here: f32,
) -> Option<Vector2<f64>> {
    let at = |t: f64| sample::bilinear(magnitude, centre.x + t * normal.x, centre.y + t * normal.y);
    let (before, after) = (at(-1.0)?, at(1.0)?);
    if here < before || here <= after {
        return None;
    }
    let curvature = before - 2.0 * here + after;
    let t = if curvature.abs() > 1e-6 {
        f64::from(0.5 * (before - after) / curvature)
    } else {
        0.0
    };
    (t.abs() <= 0.75).then(|| centre + normal * t)
}

/// The edge point in render pixels.
pub(crate) fn in_render(
    point: &EdgePoint,
    render_from_work: &Projective<RenderPx, WorkPx>,
) -> Vector2<f64> {
    let p = render_from_work.apply(Point::new(point.place.x, point.place.y));
    Vector2::new(p.x, p.y)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::{job::Tolerance, units::ModelMm};

    /// A region with this outline and nothing else.
    pub(crate) fn region(name: &str, outline: &[[f64; 2]]) -> Region {
        Region {
            name: name.to_owned(),
            outline: outline.iter().map(|p| Point::new(p[0], p[1])).collect(),
            landmarks: Vec::new(),
            anchor: Point::new(0.0, 0.0),
            tolerance: Tolerance {
                proportion_percent: 2.0,
                offset: ModelMm(0.2),
                angle_deg: 1.0,
                edge_overlap: 0.5,
            },
            note: None,
        }
    }

    fn found(render: &RgbImage, regions: &[Region]) -> Vec<EdgePoint> {
        find(render, regions, &Projective::identity(), |_, _| ())
    }

    #[test]
    fn an_edge_is_found_where_it_lies_between_pixels() {
        // Column 20 is covered by three tenths: the edge lies at x = 20.7.
        let render = RgbImage::from_fn(40, 30, |x, _| {
            let v = match x {
                0..=19 => 40,
                20 => 40 + 18,
                _ => 100,
            };
            image::Rgb([v, v, v])
        });
        let whole = region(
            "whole",
            &[[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]],
        );
        let points = found(&render, &[whole]);
        assert!(!points.is_empty());
        for p in &points {
            assert!((p.place.x - 20.7).abs() < 0.08, "{}", p.place.x);
            assert!((p.normal.x.abs() - 1.0).abs() < 1e-6);
        }
    }

    /// A render whose grey rises from 100 by `contrast` over `width` pixels.
    fn points_of_a_rise(contrast: f64, width: f64) -> usize {
        let render = RgbImage::from_fn(60, 30, |x, _| {
            let share = ((f64::from(x) - 30.0) / width + 0.5).clamp(0.0, 1.0);
            image::Rgb([(100.0 + contrast * share).round() as u8; 3])
        });
        let whole = region(
            "whole",
            &[[0.0, 0.0], [60.0, 0.0], [60.0, 30.0], [0.0, 30.0]],
        );
        found(&render, &[whole]).len()
    }

    #[test]
    fn a_weak_edge_counts_where_it_is_narrow_and_a_band_of_shading_does_not() {
        assert!(points_of_a_rise(9.0, 1.0) > 0, "a faint edge");
        assert_eq!(points_of_a_rise(40.0, 14.0), 0, "a band as steep");
        assert!(points_of_a_rise(120.0, 14.0) > 0, "a steep band may be one");
    }

    #[test]
    fn a_point_belongs_to_the_smallest_region_around_it() {
        let render =
            RgbImage::from_fn(40, 30, |x, _| image::Rgb([if x < 20 { 0 } else { 200 }; 3]));
        let whole = region(
            "whole",
            &[[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]],
        );
        let part = region(
            "part",
            &[[10.0, 10.0], [30.0, 10.0], [30.0, 20.0], [10.0, 20.0]],
        );
        let points = found(&render, &[whole, part]);
        assert!(
            points
                .iter()
                .all(|p| (p.region == 1) == (p.place.y > 10.0 && p.place.y < 20.0))
        );
        assert!(points.iter().any(|p| p.region == 0) && points.iter().any(|p| p.region == 1));
    }
}

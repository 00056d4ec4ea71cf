//! From a view of the job to its reference as a photo in space.
use super::{
    error::Error,
    figures::FILM_DIAGONAL,
    photo::{KnownFocal, KnownLens, KnownPoint, Photo, Screen, SpaceMark},
    settings::SPACE,
};
use crate::{
    frame::{ModelPoint, Point},
    job::{
        FocalLength, KnownPlane, LandmarkUse, PrincipalPoint, Rectangle, Rectify, ScreenCorners,
        View,
    },
    rectification::Rectification,
    statistics::normal_quantile,
};

/// A reference as a photo in space.
#[derive(Clone, Debug)]
pub struct ViewPhoto {
    /// What is known of its camera.
    pub photo: Photo,
    /// The landmarks that have a place on the model.
    pub marks: Vec<SpaceMark>,
}

/// The reference of a view, `size` (width, height) pixels large, with the landmarks that have a place on the model.
///
/// # Errors
/// Where the screen that it shows cannot be rectified, or its aspect is not stated.
pub fn of_view(view: &View, size: (u32, u32)) -> Result<ViewPhoto, Error> {
    let interior = &view.reference.interior;
    let screen = screen(view, size)?;
    let own = [f64::from(size.0), f64::from(size.1)];
    let [width, height] = screen.map_or(own, |screen| screen.picture);
    let diagonal = width.hypot(height);
    let photo = Photo {
        size,
        mark_sigma_px: view.reference.mark_sigma_px,
        focal: focal(view, diagonal),
        principal_point: principal_point(interior.principal_point, screen.is_some(), diagonal),
        lens: lens(view, size)?,
        screen,
    };
    let marks = view.landmarks.iter().filter_map(|landmark| {
        Some(SpaceMark {
            name: landmark.name.clone(),
            place: ModelPoint(landmark.model_mm?),
            place_sigma_mm: landmark.model_sigma_mm.unwrap_or(0.0),
            mark: landmark.reference,
            is_datum: landmark.usage == LandmarkUse::Datum,
        })
    });
    Ok(ViewPhoto {
        photo,
        marks: marks.collect(),
    })
}

/// The render of a view as a photo in space, `size` (width, height) pixels large: of its camera nothing is known but what its marks tell.
pub fn of_render(view: &View, size: (u32, u32)) -> ViewPhoto {
    let marks = view.landmarks.iter().filter_map(|landmark| {
        Some(SpaceMark {
            name: landmark.name.clone(),
            place: ModelPoint(landmark.model_mm?),
            place_sigma_mm: landmark.model_sigma_mm.unwrap_or(0.0),
            mark: {
                let [x, y] = landmark.render.xy();
                Point::new(x, y)
            },
            // A render shows the model itself: no part of it is off.
            is_datum: true,
        })
    });
    ViewPhoto {
        photo: Photo {
            size,
            mark_sigma_px: view.render.mark_sigma_px,
            focal: KnownFocal::Unknown,
            principal_point: KnownPoint::Middle {
                deviation: SPACE.principal_point.get(),
            },
            lens: KnownLens::NONE,
            screen: None,
        },
        marks: marks.collect(),
    }
}

fn screen(view: &View, size: (u32, u32)) -> Result<Option<Screen>, Error> {
    let own = [f64::from(size.0), f64::from(size.1)];
    match (view.reference.interior.screen_corners, rectangle(view)) {
        (ScreenCorners::None, _) | (ScreenCorners::Marked, None) => Ok(None),
        (ScreenCorners::Outside, _) => Ok(Some(Screen {
            corners: None,
            picture: own,
        })),
        (ScreenCorners::Marked, Some((rectify, rectangle))) => {
            rectangle.aspect.ok_or(Error::NoAspect)?;
            let stated = view.reference.mark_sigma_px;
            let made = Rectification::new(rectify, size, stated, None)?;
            let picture = made.figures().rectangle.ok_or(Error::NoAspect)?;
            Ok(Some(Screen {
                corners: Some(rectangle.corners),
                picture: [picture.width, picture.height],
            }))
        }
    }
}

/// The rectangle that the reference is rectified by.
fn rectangle(view: &View) -> Option<(&Rectify, &Rectangle)> {
    let rectify = view.reference.rectify.as_ref()?;
    match &rectify.plane {
        KnownPlane::Rectangle(rectangle) => Some((rectify, rectangle)),
        _ => None,
    }
}

fn focal(view: &View, diagonal: f64) -> KnownFocal {
    let share = |percent: Option<f64>, left_out: f64| percent.unwrap_or(left_out) / 100.0;
    match view.reference.interior.focal_length {
        FocalLength::Unknown => KnownFocal::Unknown,
        FocalLength::Pixels { px, percent } => KnownFocal::Length {
            px,
            deviation: share(percent, SPACE.focal_percent.get()),
        },
        FocalLength::Film { mm, percent } => KnownFocal::Length {
            px: mm / FILM_DIAGONAL * diagonal,
            deviation: share(percent, SPACE.focal_35mm_percent.get()),
        },
        FocalLength::AsRender => match view.render.camera {
            Some([_, _, depth]) => KnownFocal::Perspective { depth },
            None => KnownFocal::Unknown,
        },
    }
}

fn principal_point(known: PrincipalPoint, is_screen: bool, diagonal: f64) -> KnownPoint {
    let deviation = match known {
        PrincipalPoint::At([x, y]) => {
            return KnownPoint::At {
                point: Point::new(x, y),
                deviation_px: SPACE.stated_principal_point.get() * diagonal,
            };
        }
        PrincipalPoint::Cropped => SPACE.cropped_principal_point.get(),
        PrincipalPoint::Middle if is_screen => SPACE.screen_principal_point.get(),
        PrincipalPoint::Middle => SPACE.principal_point.get(),
    };
    KnownPoint::Middle { deviation }
}

/// What straight lines tell of the lens; else what the job says.
fn lens(view: &View, size: (u32, u32)) -> Result<KnownLens, Error> {
    let lines = view.reference.rectify.as_ref().map(|r| &r.straight_lines);
    match lines {
        Some(lines) if !lines.is_empty() => {
            let alone = Rectify {
                plane: KnownPlane::Unknown,
                straight_lines: lines.clone(),
            };
            let made = Rectification::new(&alone, size, view.reference.mark_sigma_px, None)?;
            Ok(made
                .figures()
                .lens
                .map_or(KnownLens::NONE, |lens| KnownLens {
                    coefficient: lens.value(),
                    deviation: lens.half_width() / normal_quantile(0.975),
                }))
        }
        _ if view.reference.interior.is_lens_unknown => Ok(KnownLens::unknown()),
        _ => Ok(KnownLens::NONE),
    }
}

//! The images of a view: first what they will take, then their pixels.
use super::{
    Error, Format, Limits, Picture, ViewImages,
    decode::read_as_seen,
    header::{self, Header},
    mask,
    shots::{self, Shots},
};
use crate::{
    job::{Mask, ReferenceSource, View},
    kernels::Plane,
};
use image::metadata::Orientation;
use std::path::{Path, PathBuf};

/// What was seen of a view's images before a pixel was decoded.
#[derive(Clone, Debug)]
pub struct ViewLook {
    /// The render and its mask.
    pub render: SideLook,
    /// The reference and its mask.
    pub reference: SideLook,
    limits: Limits,
}

/// What was seen of one side's image and of its mask, where that is an image.
#[derive(Clone, Debug)]
pub struct SideLook {
    image: Header,
    mask: Option<Header>,
    has_silhouette: bool,
    more_shots: Vec<Header>,
    shape: Option<Header>,
}

impl SideLook {
    fn new(
        image: &Path,
        more_shots: &[PathBuf],
        mask: &Mask,
        limits: &Limits,
    ) -> Result<Self, Error> {
        let image = header::look(image, limits)?.1;
        let seen = match mask {
            Mask::Image(path) => {
                let seen = header::look(path, limits)?.1;
                mask::check_size(path, seen.size(), image.size())?;
                Some(seen)
            }
            _ => None,
        };
        Ok(Self {
            has_silhouette: match mask {
                Mask::None => false,
                Mask::Alpha => image.has_alpha,
                Mask::Outline(_) | Mask::Image(_) => true,
            },
            image,
            mask: seen,
            more_shots: shots::look(more_shots, limits)?,
            shape: None,
        })
    }

    /// The same with a further picture of the view, which must have the image's size.
    fn with_shape(mut self, shape: Option<&Path>, limits: &Limits) -> Result<Self, Error> {
        let Some(path) = shape else {
            return Ok(self);
        };
        let seen = header::look(path, limits)?.1;
        if seen.size() != self.size() {
            return Err(Error::ShapeSize {
                path: path.to_owned(),
                found: seen.size(),
                expected: self.size(),
            });
        }
        self.shape = Some(seen);
        Ok(self)
    }

    /// That of an image of this size that is made with its opacity, taking `bytes` for each pixel meanwhile.
    fn made((width, height): (u32, u32), bytes: u64) -> Self {
        Self {
            image: Header {
                format: Format::Png,
                stored: (width, height),
                orientation: Orientation::NoTransforms,
                pixel_bytes: bytes,
                has_alpha: true,
                beside: 0,
                profile: None,
            },
            mask: None,
            has_silhouette: true,
            more_shots: Vec::new(),
            shape: None,
        }
    }

    /// Upright width and height of the image, pixels.
    pub fn size(&self) -> (u32, u32) {
        self.image.size()
    }

    /// Pixels of the image.
    pub fn pixels(&self) -> u64 {
        self.image.pixels()
    }

    /// Bytes that the picture takes once it is read.
    pub fn picture_bytes(&self) -> u64 {
        self.image.kept()
    }

    /// Bytes that the further picture of the view takes once it is read.
    pub fn shape_bytes(&self) -> u64 {
        self.shape.as_ref().map_or(0, Header::kept)
    }

    /// Bytes that its silhouette takes.
    pub fn silhouette_bytes(&self) -> u64 {
        u64::from(self.has_silhouette).saturating_mul(self.pixels())
    }

    /// Bytes that reading both takes at most, at one time.
    fn peak(&self) -> u64 {
        let mask = match &self.mask {
            Some(mask) => mask.peak().max(mask.kept() + mask.pixels()),
            None => self.silhouette_bytes(),
        };
        let shots = shots::peak(&self.image, &self.more_shots);
        let beside = self.shape.as_ref().map_or(0, |shape| {
            self.silhouette_bytes().saturating_add(shape.peak())
        });
        let further = mask.max(shots).max(beside);
        self.image.peak().max(self.image.kept() + further)
    }
}

impl ViewLook {
    /// Bytes that reading the images takes at most, at one time.
    pub fn reading_bytes(&self) -> u64 {
        self.render.peak().saturating_add(self.reference.peak())
    }

    fn side(&self, image: &Path, mask: &Mask, seen: &SideLook) -> Result<Side, Error> {
        let picture = read_as_seen(image, &self.limits, Some(&seen.image))?;
        let silhouette = mask::of_picture(mask, &picture, seen.mask.as_ref(), &self.limits)?;
        Ok((picture, silhouette))
    }

    fn reference(&self, source: &ReferenceSource) -> Result<(Side, Option<Shots>), Error> {
        let seen = &self.reference;
        let (picture, silhouette) = self.side(&source.image, &source.mask, seen)?;
        if source.more_shots.is_empty() {
            return Ok(((picture, silhouette), None));
        }
        let more = (source.more_shots.as_slice(), seen.more_shots.as_slice());
        let (picture, shots) = shots::averaged(picture, &source.image, more, &self.limits)?;
        Ok(((picture, silhouette), Some(shots)))
    }
}

/// Reads what stands before the pixels of a view's images and masks.
///
/// # Errors
/// Those of [`super::read`] that show before the pixels, and [`Error::MaskSize`]; where both sides fail, that of the
/// render. [`Error::Drawn`] of a render that is drawn, [`Error::NoRender`] of a view without one.
pub fn look_at_view(view: &View, limits: &Limits) -> Result<ViewLook, Error> {
    let render = view.render.image.file();
    let render = render.ok_or_else(|| Error::without_file(view))?;
    let side = SideLook::new(render, &[], &view.render.mask, limits)
        .and_then(|side| side.with_shape(view.render.shape.as_deref(), limits));
    Ok(ViewLook {
        render: side.map_err(|error| error.of_view(view))?,
        reference: look_at_reference(view, limits)?,
        limits: *limits,
    })
}

/// The same of a view whose render will be drawn in the size that `render_size` makes of the reference's, taking `bytes` for each
/// pixel meanwhile.
///
/// # Errors
/// Those of [`look_at_view`] for the reference, and of `render_size`.
pub fn look_at_drawn<E: From<Error>>(
    view: &View,
    limits: &Limits,
    bytes: u64,
    render_size: impl FnOnce((u32, u32)) -> Result<(u32, u32), E>,
) -> Result<ViewLook, E> {
    let reference = look_at_reference(view, limits)?;
    Ok(ViewLook {
        render: SideLook::made(render_size(reference.size())?, bytes),
        reference,
        limits: *limits,
    })
}

fn look_at_reference(view: &View, limits: &Limits) -> Result<SideLook, Error> {
    let source = &view.reference;
    SideLook::new(&source.image, &source.more_shots, &source.mask, limits)
        .map_err(|error| error.of_view(view))
}

/// Reads the pictures and silhouettes of a view, both sides at the same time.
///
/// # Errors
/// Those of [`look_at_view`] and [`super::read`]; where both sides fail, that of the render.
pub fn read_view(view: &View, limits: &Limits) -> Result<ViewImages, Error> {
    read_looked_view(view, &look_at_view(view, limits)?)
}

/// The same of a view that was looked at.
///
/// # Errors
/// Those of [`read_view`], among them [`Error::Changed`] where a file is not as it was seen.
pub fn read_looked_view(view: &View, look: &ViewLook) -> Result<ViewImages, Error> {
    let image = view.render.image.file();
    let image = image.ok_or_else(|| Error::without_file(view))?;
    read_sides(view, look, || {
        let side = look.side(image, &view.render.mask, &look.render)?;
        let seen = look.render.shape.as_ref();
        let shape = view.render.shape.as_deref();
        let shape = shape.map(|path| read_as_seen(path, &look.limits, seen));
        Ok((side, shape.transpose()?))
    })
}

/// The same of a view whose render was drawn.
///
/// # Errors
/// As [`read_looked_view`] for the reference.
pub fn read_beside_drawn(
    view: &View,
    look: &ViewLook,
    render: Picture,
) -> Result<ViewImages, Error> {
    let mask = mask::of_picture(&Mask::Alpha, &render, None, &look.limits)?;
    read_sides(view, look, || Ok(((render, mask), None)))
}

/// A picture and its silhouette.
type Side = (Picture, Option<Plane<u8>>);

fn read_sides(
    view: &View,
    look: &ViewLook,
    render: impl FnOnce() -> Result<(Side, Option<Picture>), Error> + Send,
) -> Result<ViewImages, Error> {
    let (render, reference) = rayon::join(render, || look.reference(&view.reference));
    let ((render, render_mask), shape) = render?;
    let ((reference, reference_mask), shots) = reference?;
    Ok(ViewImages {
        render,
        reference,
        shape,
        shots,
        render_mask,
        reference_mask,
    })
}

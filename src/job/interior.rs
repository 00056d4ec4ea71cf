//! What is known of the camera that took a reference: its interior orientation.

/// The interior orientation of a reference's camera, as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Interior {
    /// Focal length or perspective.
    pub focal_length: FocalLength,
    /// Where the axis meets the picture.
    pub principal_point: PrincipalPoint,
    /// Whether the lens may bend the picture and is to be found from the landmarks.
    pub is_lens_unknown: bool,
    /// Where the corners of the screen are.
    pub screen_corners: ScreenCorners,
    /// Index of the view whose reference was taken with the same camera; the rest is what is stated there.
    pub same_as: Option<usize>,
}

/// What is known of a focal length.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum FocalLength {
    /// Nothing.
    #[default]
    Unknown,
    /// Pixels of the picture; of a screen, of the rectified picture.
    Pixels {
        /// The length, above 0.
        px: f64,
        /// Standard deviation, per cent; `None`: as the program takes it.
        percent: Option<f64>,
    },
    /// For 35 mm film, by the picture's diagonal.
    Film {
        /// The length in millimetres, above 0.
        mm: f64,
        /// Standard deviation, per cent; `None`: as the program takes it.
        percent: Option<f64>,
    },
    /// The camera is as far away as the render's, which is stated.
    AsRender,
}

/// Where a camera's axis meets its picture.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum PrincipalPoint {
    /// Near the middle.
    #[default]
    Middle,
    /// Anywhere: the picture is cropped.
    Cropped,
    /// There, reference pixels.
    At([f64; 2]),
}

/// Where the corners of a screen are in a photo of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ScreenCorners {
    /// It is no photo of a screen.
    #[default]
    None,
    /// They are those that the reference is rectified by.
    Marked,
    /// They are not in the photo.
    Outside,
}

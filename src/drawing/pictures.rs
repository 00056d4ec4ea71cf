//! Which pictures of a view are drawn.
use serde::{Deserialize, Serialize};

/// A picture of a view that may be left out, named as its file is called.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Picture {
    /// Edges of both over the dimmed render.
    Overlay,
    /// Parts tinted by verdict, offsets as arrows.
    Difference,
    /// How far each edge is from the other image's.
    Heat,
    /// The deformation as a bent grid.
    Grid,
    /// Both images in turn.
    Blink,
    /// The silhouettes against each other.
    Silhouette,
    /// Where two pictures of models look alike.
    Likeness,
    /// What both images show at each mark.
    Strip,
    /// The reference laid over the render.
    Registered,
    /// The page of the view, alone and in `sheet.pdf`.
    Sheet,
    /// The render, as the page has it.
    Render,
    /// The reference, as the page has it.
    Reference,
}

impl Picture {
    /// All there are.
    pub const ALL: [Self; 12] = [
        Self::Overlay,
        Self::Difference,
        Self::Heat,
        Self::Grid,
        Self::Blink,
        Self::Silhouette,
        Self::Likeness,
        Self::Strip,
        Self::Registered,
        Self::Sheet,
        Self::Render,
        Self::Reference,
    ];

    /// Its name: that of its file without the ending.
    pub fn name(self) -> &'static str {
        match self {
            Self::Overlay => "overlay",
            Self::Difference => "difference",
            Self::Heat => "heat",
            Self::Grid => "grid",
            Self::Blink => "blink",
            Self::Silhouette => "silhouette",
            Self::Likeness => "likeness",
            Self::Strip => "strip",
            Self::Registered => "registered",
            Self::Sheet => "sheet",
            Self::Render => "render",
            Self::Reference => "reference",
        }
    }
}

/// A choice of pictures.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pictures(Vec<Picture>);

impl Pictures {
    /// Every picture there is.
    pub fn all() -> Self {
        Self(Picture::ALL.to_vec())
    }

    /// These and no others.
    pub fn only(pictures: impl IntoIterator<Item = Picture>) -> Self {
        Self(pictures.into_iter().collect())
    }

    /// Whether this one is drawn.
    pub fn has(&self, picture: Picture) -> bool {
        self.0.contains(&picture)
    }
}

//! The job file, key for key. The words beside the fields are the descriptions in the published schema.
//!
//! The least and the greatest value of a number are judgements: below the least it says nothing that a mark or a print
//! could show, and a fit that it enters loses its digits; above the greatest it excuses everything.
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// A comparison of renders of a scale model with pictures of the full-size object.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "tickstrip job")]
pub struct RawJob {
    /// Title for sheets and reports.
    #[schemars(length(min = 1, max = 500))]
    pub title: String,
    /// Scale of the model: "1:24", "1/24", or the number 24 for 1:24.
    pub scale: RawScale,
    /// Unit of lengths that are plain numbers.
    #[serde(default)]
    pub unit: RawUnit,
    /// What may be tolerated; left out: 2 per cent, 0.20 mm, 1 degree, edge overlap 0.5.
    #[serde(default)]
    pub tolerance: RawTolerance,
    /// No correction is proposed for an error smaller than this, millimetres on the model; left out: what `print`
    /// gives, else 0.05.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.0001, "maximum" = 100))]
    pub smallest_visible_mm: Option<f64>,
    /// What stands in the title block of sheets beside the title; what is left out stays empty, to be filled in by pen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title_block: Option<RawTitleBlock>,
    /// How the model is made and looked at, which gives `smallest_visible_mm`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print: Option<RawPrint>,
    /// How large a region's errors are expected to be before anything is measured.
    #[serde(default)]
    pub expected: RawExpected,
    /// The model's mesh, for views whose render is drawn and for edges that know their depth.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<RawModel>,
    /// Renders, each paired with one reference.
    #[schemars(length(min = 1, max = 1000))]
    pub views: Vec<RawView>,
    /// Names of views whose references show the same subject and are adjusted together, with the errors of the parts in space:
    /// regions of one name are one part, landmarks of one name one point ("model_mm").
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 20), inner(length(min = 1, max = 100)))]
    pub together: Option<Vec<String>>,
}

/// The model as a mesh, in the axes and lengths of `model_mm`.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawModel {
    /// STL, OBJ, PLY, glTF, GLB or 3MF files, relative to the job file.
    #[schemars(length(min = 1, max = 100))]
    pub files: Vec<RawModelFile>,
    /// Unit of the files' lengths; has to be stated for STL, OBJ and PLY, which have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<RawUnit>,
    /// Facets that meet at a greater angle than this make an edge, degrees; left out: 25.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 1, "maximum" = 180))]
    pub crease_deg: Option<f64>,
    /// Names of the parts that are right: landmarks on them ("part") are datum unless their "use" says otherwise, landmarks on others
    /// check.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000), inner(length(min = 1, max = 200)))]
    pub datum: Vec<String>,
    /// What mirrors what, on the model and on the full-size object: a photo of one side tells of the other in views taken "together".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub symmetry: Option<RawModelSymmetry>,
    /// Parts that have axes of their own, where CAD has them: what views taken "together" tell of such a part is told along these.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub axes: Vec<RawPartAxes>,
}

/// The axes of a part, as directions along the axes of the model, of any length.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPartAxes {
    /// The part.
    #[schemars(length(min = 1, max = 200))]
    pub part: String,
    /// Its x, along which it is wide.
    pub width: [f64; 3],
    /// Its z, along which it is high; at right angles to the width. Its y, along which it is deep, is at right angles to both, so that
    /// the three are right-handed.
    pub height: [f64; 3],
}

/// A plane that mirrors the model, at right angles to one of its axes.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawModelSymmetry {
    /// The axis that goes through the plane.
    pub across: RawModelAxis,
    /// Where it does, millimetres along the axis; left out: at 0.
    #[serde(default)]
    #[schemars(extend("minimum" = -1_000_000, "maximum" = 1_000_000))]
    pub at_mm: f64,
    /// Parts that are each other's mirror image.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 500), inner(inner(length(min = 1, max = 200))))]
    pub pairs: Vec<[String; 2]>,
    /// Parts that are their own mirror image.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000), inner(length(min = 1, max = 200)))]
    pub parts: Vec<String>,
}

/// A file of the model's mesh.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(untagged)]
pub enum RawModelFile {
    /// Its objects, groups, nodes or components are parts.
    File(String),
    /// All of it is one part.
    Part(RawPartFile),
}

/// A file that is one part.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawPartFile {
    /// The file.
    pub file: String,
    /// The name of the part.
    pub part: String,
}

impl JsonSchema for RawModelFile {
    fn schema_name() -> Cow<'static, str> {
        "RawModelFile".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A mesh file, relative to the job file, whose objects are parts; or {\"file\": ..., \"part\": NAME}, where all of the file is one part.",
            "type": ["string", "object"],
            "minLength": 1,
            "maxLength": 4096,
            "properties": {
                "file": { "description": "The file.", "type": "string", "minLength": 1, "maxLength": 4096 },
                "part": { "description": "The name of the part.", "type": "string", "minLength": 1, "maxLength": 200 }
            },
            "required": ["file", "part"],
            "additionalProperties": false
        })
    }
}

/// Fields of a title block, after ISO 7200.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawTitleBlock {
    /// Identification number; left out: the name of the job file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 100))]
    pub number: Option<String>,
    /// Revision index, such as "B".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 20))]
    pub revision: Option<String>,
    /// Legal owner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 200))]
    pub owner: Option<String>,
    /// Who made it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 200))]
    pub creator: Option<String>,
    /// Who approved it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 200))]
    pub approved_by: Option<String>,
}

/// How the model is made and looked at; at least one key is stated.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPrint {
    /// Pixel or dot of the printer, millimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.0001, "maximum" = 100))]
    pub pixel_mm: Option<f64>,
    /// Height of a layer, millimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.0001, "maximum" = 100))]
    pub layer_mm: Option<f64>,
    /// How far the eye is from the model, millimetres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 1, "maximum" = 100_000))]
    pub viewing_distance_mm: Option<f64>,
}

/// What may be tolerated. Keys that are left out keep the value of the job.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawTolerance {
    /// Proportion error of a width, a height or a span, per cent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.001, "maximum" = 100))]
    pub proportion_percent: Option<f64>,
    /// Offset, millimetres on the model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.0001, "maximum" = 1000))]
    pub offset_mm: Option<f64>,
    /// Angle or rotation, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.001, "maximum" = 90))]
    pub angle_deg: Option<f64>,
    /// Least edge overlap above chance, from 0 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.001, "maximum" = 1))]
    pub edge_overlap: Option<f64>,
}

/// Standard deviations of a region's errors before anything is measured.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct RawExpected {
    /// Width and height error, per cent.
    #[schemars(extend("minimum" = 0.01, "maximum" = 1000))]
    pub size_percent: f64,
    /// Rotation, degrees.
    #[schemars(extend("minimum" = 0.01, "maximum" = 360))]
    pub rotation_deg: f64,
    /// Offset in x and in y, per cent of the render's diagonal. Where the parts of a view show that they lie nearer to their places, less
    /// is expected of those that are badly known.
    #[schemars(extend("minimum" = 0.01, "maximum" = 100))]
    pub offset_percent: f64,
    /// Stretch, shear and keystone that a projective registration of a rectified reference still has, per cent at the
    /// farthest landmark; six times as much where `same_camera` is false.
    #[schemars(extend("minimum" = 0.01, "maximum" = 1000))]
    pub keystone_percent: f64,
}

impl Default for RawExpected {
    fn default() -> Self {
        Self {
            size_percent: 4.0,
            rotation_deg: 1.5,
            offset_percent: 0.8,
            keystone_percent: 0.3,
        }
    }
}

/// One render paired with one reference.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawView {
    /// Unique in the job; also the name of the view's result folder: letters, digits, spaces, - _ and points.
    #[schemars(length(min = 1, max = 100))]
    pub name: String,
    /// The image of the model; left out: there is none yet, and the reference is measured alone (`measure`, `backdrop`).
    #[serde(
        default = "RawRender::absent",
        skip_serializing_if = "RawRender::is_absent"
    )]
    pub render: RawRender,
    /// The image of the full-size object.
    pub reference: RawReference,
    /// Name of the landmark from which `measure` and `backdrop` count places; left out: the first datum landmark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 200))]
    pub origin: Option<String>,
    /// Whether both images have the same camera. If not, offsets of parts are told only where the render's "camera" and places
    /// of landmarks on the model ("model_mm") are stated.
    #[serde(default = "default_same_camera")]
    pub same_camera: bool,
    /// Which way the axes of the model run in the render, where it looks along one of them: changes are then told along these axes,
    /// and views that see the same one are held against each other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub axes: Option<RawViewAxes>,
    /// Compare although the edges of both images agree no better than chance around the datum marks.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub marks_are_right: bool,
    /// The transform that takes the rectified reference to the render; left out: similarity, projective where the render is drawn, affine
    /// where it is a photo of the print.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub registration: Option<RawRegistration>,
    /// Points marked in both images; in the reference alone where there is no render.
    #[schemars(length(max = 1000))]
    pub landmarks: Vec<RawLandmark>,
    /// Known lengths, which give an image its scale.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 200))]
    pub known: Vec<RawKnown>,
    /// What a calliper read on the print between two landmarks, where the render's kind is "print".
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 200))]
    pub measured: Vec<RawMeasured>,
    /// Distances between two landmarks to judge.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub spans: Vec<RawSpan>,
    /// Inclinations and angles to judge.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub angles: Vec<RawAngle>,
    /// Landmarks that are symmetric on the full-size object, seen from in front: a check of the reference, and, where it is
    /// symmetric, further evidence for parts with a partner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub symmetry: Option<RawSymmetry>,
    /// Parts of the model to judge.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub regions: Vec<RawRegion>,
}

fn default_same_camera() -> bool {
    true
}

/// The axes of the model that run to the right and down in a render.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawViewAxes {
    /// The one that runs to the right.
    pub right: RawDirection,
    /// The one that runs down.
    pub down: RawDirection,
}

/// The image of the model.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRender {
    /// Image file, relative to the job file; has to be stated unless the render is drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 4096))]
    pub image: Option<String>,
    /// There is no image: the job's `model` is drawn as the reference's camera, solved from landmarks with `model_mm`, sees it. Then no
    /// other key of the render is stated, no landmark has a mark in it, and parts without a region get one.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub drawn: bool,
    /// The content of the image that its marks were set on; `new` and `mark` write it. An image that has changed since is told, and
    /// refused where its size has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marked_on: Option<RawMarkedOn>,
    /// What sort of picture it is.
    #[serde(default)]
    pub kind: RawRenderKind,
    /// Silhouette: "alpha", or an image file in which dark or transparent is outside; left out: the image's own alpha.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 4096))]
    pub mask: Option<String>,
    /// A further picture of the same view, of the render's size, whose edges tell which of the render's edges are the shape's and not
    /// the light's: normals as colours, or the same view in another light or in flat colours; an image file, relative to the job file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 4096))]
    pub shape: Option<String>,
    /// The camera, where the CAD program can tell it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera: Option<RawCamera>,
    /// Standard deviation of a mark in x and in y, pixels; left out: estimated from the residuals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.001, "maximum" = 10_000))]
    pub mark_sigma_px: Option<f64>,
    /// The key itself is left out.
    #[serde(skip)]
    pub is_absent: bool,
}

impl RawRender {
    /// That of a view that names none.
    pub(super) fn absent() -> Self {
        Self {
            image: None,
            drawn: false,
            marked_on: None,
            kind: RawRenderKind::default(),
            mask: None,
            shape: None,
            camera: None,
            mark_sigma_px: None,
            is_absent: true,
        }
    }

    fn is_absent(&self) -> bool {
        self.is_absent
    }
}

/// The camera of a render.
#[derive(Clone, Copy, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawCamera {
    /// Three rows of four numbers that take model millimetres (x, y, z, 1) to render pixels, homogeneous.
    pub matrix: [[f64; 4]; 3],
}

/// The content of an image.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawMarkedOn {
    /// Its width and height, pixels, upright.
    pub size: [u32; 2],
    /// BLAKE3 checksum of the file's bytes: 64 hexadecimal digits.
    #[schemars(length(min = 1, max = 64))]
    pub blake3: String,
}

/// The image of the full-size object.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawReference {
    /// Image file, relative to the job file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 4096))]
    pub image: Option<String>,
    /// In place of `image`: several shots of one scene, taken from the same place, such as by hand of one screen. Marks are set on the
    /// first; the others are laid over it by what they show, and the mean has less noise and moire. At most 64.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(min = 2, max = 64), inner(length(min = 1, max = 4096)))]
    pub images: Vec<String>,
    /// The content of the image that its marks were set on; `new` and `mark` write it. An image that has changed since is told, and
    /// refused where its size has.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marked_on: Option<RawMarkedOn>,
    /// What sort of picture it is.
    #[serde(default)]
    pub kind: RawKind,
    /// Where the picture comes from; printed on sheets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 10_000))]
    pub source: Option<String>,
    /// Where in a recording the picture is, such as "00:41:07:12"; printed on sheets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 100))]
    pub time_code: Option<String>,
    /// Which variant of the object it shows; printed on sheets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 10_000))]
    pub variant: Option<String>,
    /// Free text; printed on sheets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 10_000))]
    pub note: Option<String>,
    /// Who may use the picture and how.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 10_000))]
    pub rights: Option<String>,
    /// Something known to be a rectangle, a plane figure or straight, by which the picture is rectified.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rectify: Option<RawRectify>,
    /// What is done about the screen that the picture was taken from, before edges are looked for.
    #[serde(default, skip_serializing_if = "RawScreen::is_default")]
    pub screen: RawScreen,
    /// What is known of the camera that took it.
    #[serde(default, skip_serializing_if = "RawInterior::is_default")]
    pub interior: RawInterior,
    /// Standard deviation of a mark in x and in y, pixels; left out: estimated from the residuals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.001, "maximum" = 10_000))]
    pub mark_sigma_px: Option<f64>,
    /// Silhouette: "alpha", or an image file in which dark or transparent is outside; left out: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 4096))]
    pub mask: Option<String>,
    /// Silhouette by its corners in order, pixels of the image as it is on disk; in place of a mask.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 3, max = 1000))]
    pub outline: Option<Vec<Mark>>,
}

/// What is done about a screen in the reference before edges are looked for; the pictures that are shown stay as they are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct RawScreen {
    /// Whether the grid of the screen's pixels and moire are filtered out.
    pub descreen: RawDescreen,
    /// Whether white patches with soft borders, as of a mirrored lamp, are masked in a photo.
    pub glare: RawHandling,
    /// Whether dark bars at two opposite sides are masked in a photo rectified by corners and in a screenshot.
    pub letterbox: RawHandling,
}

impl RawScreen {
    fn is_default(&self) -> bool {
        *self == Self::default()
    }
}

/// What is known of a plane or of straight lines in the reference: exactly one of `corners`, `points` and the pair
/// `horizontal` and `vertical`, or `straight_lines` alone.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRectify {
    /// Top left, top right, bottom right, bottom left of a rectangle, in pixels of the image as it is on disk.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corners: Option<[Mark; 4]>,
    /// Width over height of the rectangle: "16:9", "2.39:1", a number, or "210 mm x 297 mm"; left out: found from the
    /// view itself, which needs a picture that is not cropped and a camera well off the axis in both directions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aspect: Option<RawAspect>,
    /// Whether the corners are to be refined by the edges of the rectangle near them.
    #[serde(default)]
    pub find_bezel: bool,
    /// Four or more points of a known plane figure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub points: Vec<RawPlanePoint>,
    /// Two or more lines that are horizontal on the plane, each by two points; with `vertical`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub horizontal: Vec<[Mark; 2]>,
    /// Two or more lines of the same plane that are at right angles to the horizontal ones, each by two points.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub vertical: Vec<[Mark; 2]>,
    /// Three or more points along each of some lines that are straight in reality: they tell the lens' distortion.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 100), inner(length(min = 3, max = 200)))]
    pub straight_lines: Vec<Vec<Mark>>,
}

/// A point of a known plane figure.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawPlanePoint {
    /// Its mark in the reference as it is on disk, pixels.
    pub reference: Mark,
    /// Where it is on the figure: two full-size lengths from any zero, x to the right and y down.
    pub at: [RawLength; 2],
}

/// A point marked in both images.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawLandmark {
    /// Unique in the view.
    #[schemars(length(min = 1, max = 200))]
    pub name: String,
    /// Its mark in the render, pixels; has to be stated unless the render is drawn, which has it where the camera shows `model_mm`, or
    /// there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub render: Option<Mark>,
    /// Its mark in the reference as it is on disk, pixels.
    pub reference: Mark,
    /// What the mark is for; left out: datum, but check on a `part` that the `datum` of the job's `model` does not name.
    #[serde(rename = "use", default, skip_serializing_if = "Option::is_none")]
    pub usage: Option<RawUse>,
    /// Where the point is on the model, millimetres, where the CAD program can tell it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model_mm: Option<[f64; 3]>,
    /// How well `model_mm` is known, millimetres along each axis (standard deviation); left out: exactly. For fillets, rounded
    /// parts and places measured on the object.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0, "maximum" = 1_000_000))]
    pub model_sigma_mm: Option<f64>,
    /// The part of the model's mesh that it lies on, for the region that the part gets where the render is drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 200))]
    pub part: Option<String>,
    /// What the mark is set on; left out: found by the render.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<RawMarkOn>,
    /// Standard deviation of this mark in x and in y, pixels, in both images or each; left out: that of its image.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma_px: Option<RawMarkSigma>,
}

/// What a mark is set on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum RawMarkOn {
    /// A corner, an end of a line, a crossing: known in both directions.
    Corner,
    /// The outermost point of a smooth outline: known across it, and badly along it.
    Outline,
    /// The middle of a bolt, a hole or a round.
    Centre,
}

/// How well one mark was set.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(untagged)]
pub enum RawMarkSigma {
    /// In both images, in the pixels of each.
    Both(f64),
    /// In each of them.
    Each(RawEachSigma),
}

impl JsonSchema for RawMarkSigma {
    fn schema_name() -> Cow<'static, str> {
        "RawMarkSigma".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let sigma = |image: &str| {
            json_schema!({
                "description": format!("In the {image}; left out: as the {image}'s other marks."),
                "type": "number", "minimum": 0.001, "maximum": 10_000
            })
        };
        json_schema!({
            "description": "How well one mark was set, pixels: in both images, or in the render and in the reference.",
            "type": ["number", "object"],
            "minimum": 0.001,
            "maximum": 10_000,
            "properties": { "render": sigma("render"), "reference": sigma("reference") },
            "additionalProperties": false
        })
    }
}

/// How well a mark was set in each image.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawEachSigma {
    /// In the render; left out: as the render's other marks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub render: Option<f64>,
    /// In the reference; left out: as the reference's other marks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<f64>,
}

/// What is known of the camera that took a reference, for `tickstrip camera`: its interior orientation.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct RawInterior {
    /// Focal length, pixels of the picture (of a screen: of the rectified picture); left out: unknown.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 1, "maximum" = 10_000_000))]
    pub focal_length_px: Option<f64>,
    /// Focal length for 35 mm film, millimetres, by the picture's diagonal; in place of `focal_length_px`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 1, "maximum" = 100_000))]
    pub focal_length_mm_35: Option<f64>,
    /// How well the stated focal length is known, per cent (standard deviation); left out: 3 in pixels, 10 for 35 mm film.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.0001, "maximum" = 100))]
    pub focal_length_percent: Option<f64>,
    /// Whether the camera stands as far from the subject, at scale, as that of the render.
    pub perspective: RawPerspective,
    /// Where the camera's axis meets the picture.
    pub principal_point: RawPrincipalPoint,
    /// The same where it is known, pixels of the reference; in place of `principal_point`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub principal_point_px: Option<Mark>,
    /// The lens.
    pub lens: RawLens,
    /// Where the corners of the screen are, in a photo of a screen; left out: "marked" where "rectify" has corners, else "none".
    #[serde(skip_serializing_if = "Option::is_none")]
    pub screen_corners: Option<RawScreenCorners>,
    /// Name of the view whose reference was taken with the same camera, focal length and crop, and has the same size; in place of
    /// the other keys.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1, max = 100))]
    pub same_as: Option<String>,
}

impl RawInterior {
    fn is_default(&self) -> bool {
        *self == Self::default()
    }
}

/// A known length between two points of one image; one of `full_size` and `model` is stated, or `along` alone.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawKnown {
    /// The image whose scale it gives.
    #[serde(rename = "in")]
    pub side: RawSide,
    /// Name of a landmark, or a point [x, y] of this image.
    pub from: RawEnd,
    /// Name of another landmark, or another point.
    pub to: RawEnd,
    /// How the line between both points runs on the drawing: it gives the drawing's angle and squareness.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub along: Option<RawAxis>,
    /// The length on the full-size object.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub full_size: Option<RawLength>,
    /// The length on the model.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<RawLength>,
    /// How well the length is known (standard deviation), a length like it; left out: exactly, but for how it was drawn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma: Option<RawLength>,
}

/// What a calliper read on a print.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawMeasured {
    /// Name of a landmark.
    pub from: String,
    /// Name of another landmark.
    pub to: String,
    /// The reading, on the model.
    pub model: RawLength,
    /// Standard deviation of the reading, millimetres; left out: that of a calliper in a steady hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("minimum" = 0.0001, "maximum" = 100))]
    pub sigma_mm: Option<f64>,
}

/// The distance between two landmarks.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSpan {
    /// Unique among the view's spans.
    #[schemars(length(min = 1, max = 200))]
    pub name: String,
    /// Name of a landmark.
    pub from: String,
    /// Name of another landmark.
    pub to: String,
    /// Overrides single keys of the job's tolerance.
    #[serde(default)]
    pub tolerance: RawTolerance,
}

/// The inclination of a span, or the angle between two spans.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawAngle {
    /// Unique among the view's angles.
    #[schemars(length(min = 1, max = 200))]
    pub name: String,
    /// Name of a landmark.
    pub from: String,
    /// Name of another landmark.
    pub to: String,
    /// Names of the two landmarks of the span it is measured against; left out: against the render's x axis.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against: Option<[String; 2]>,
    /// Overrides single keys of the job's tolerance.
    #[serde(default)]
    pub tolerance: RawTolerance,
}

/// Landmarks that are symmetric on the full-size object: a check of the reference itself.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawSymmetry {
    /// Names of two landmarks each, one on either side.
    #[schemars(length(min = 1, max = 100))]
    pub pairs: Vec<[String; 2]>,
    /// Names of landmarks on the axis; left out: the axis is found from the pairs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 100))]
    pub axis: Vec<String>,
}

/// A named outline on the render: one part of the model whose proportions are judged.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RawRegion {
    /// Unique among the view's regions.
    #[schemars(length(min = 1, max = 200))]
    pub name: String,
    /// Its corners in order, render pixels.
    #[schemars(length(min = 3, max = 1000))]
    pub outline: Vec<Mark>,
    /// Names of the landmarks that lie on this part.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 1000))]
    pub landmarks: Vec<String>,
    /// The point at which its offset is stated, render pixels; left out: the centre of the outline.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub anchor: Option<Mark>,
    /// Overrides single keys of the job's tolerance.
    #[serde(default)]
    pub tolerance: RawTolerance,
    /// Free text; printed on sheets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(length(max = 10_000))]
    pub note: Option<String>,
}

macro_rules! choices {
    ($($(#[$doc:meta])* $name:ident { $($(#[$inner:meta])* $variant:ident = $text:literal,)+ })+) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
        pub enum $name { $($(#[$inner])* #[serde(rename = $text)] $variant,)+ }
    )+};
}

choices! {
    /// A unit of length.
    RawUnit {
        /// Millimetre.
        #[default]
        Millimetre = "mm",
        /// Centimetre.
        Centimetre = "cm",
        /// Metre.
        Metre = "m",
        /// Inch, 25.4 mm.
        Inch = "in",
        /// Foot, 12 inches.
        Foot = "ft",
    }
    /// What sort of picture a reference is.
    RawKind {
        /// A photograph, also of a screen.
        #[default]
        Photo = "photo",
        /// A drawing with lines, to scale.
        Plan = "plan",
        /// A screenshot of an earlier version.
        Screenshot = "screenshot",
        /// A drawing by hand.
        Sketch = "sketch",
    }
    /// Whether a pattern that covers the picture is filtered out.
    RawDescreen {
        /// In a photo, where one covers at least three quarters of the screen.
        #[default]
        Auto = "auto",
        /// In any picture, where one covers at least a quarter of it.
        On = "on",
        /// Nowhere.
        Off = "off",
    }
    /// Whether something found in the picture is dealt with.
    RawHandling {
        /// Where it is found.
        #[default]
        Auto = "auto",
        /// Not at all.
        Off = "off",
    }
    /// How far off the camera of a reference stands.
    RawPerspective {
        /// Unknown.
        #[default]
        Unknown = "unknown",
        /// As far as the render's, whose "camera" has to be stated.
        AsRender = "as_render",
    }
    /// Where a camera's axis meets its picture.
    RawPrincipalPoint {
        /// Near the middle: the picture is not cropped.
        #[default]
        Middle = "middle",
        /// Perhaps far from the middle: the picture is cropped.
        Cropped = "cropped",
    }
    /// What is known of a lens.
    RawLens {
        /// It bends nothing, or what "straight_lines" of "rectify" tell.
        #[default]
        None = "none",
        /// It may bend the picture: found from the landmarks.
        Unknown = "unknown",
    }
    /// Where the corners of a screen are in a photo of it.
    RawScreenCorners {
        /// They are the "corners" of "rectify".
        #[default]
        Marked = "marked",
        /// The photo shows a screen, but not its corners.
        Outside = "outside",
        /// It is no photo of a screen.
        None = "none",
    }
    /// Kind of a registration.
    RawRegistration {
        /// Scale, rotation, shift: hides no proportion error.
        #[default]
        Similarity = "similarity",
        /// Also shear and a second scale: hides uniform stretch and shear.
        Affine = "affine",
        /// Also keystone: hides keystone too.
        Projective = "projective",
    }
    /// What a landmark is for.
    RawUse {
        /// It carries the registration.
        #[default]
        Datum = "datum",
        /// It is only measured.
        Check = "check",
    }
    /// An axis of the model.
    RawModelAxis {
        /// x.
        #[default]
        X = "x",
        /// y.
        Y = "y",
        /// z.
        Z = "z",
    }
    /// A direction along an axis of the model.
    RawDirection {
        /// Along x.
        #[default]
        X = "x",
        /// Against x.
        MinusX = "-x",
        /// Along y.
        Y = "y",
        /// Against y.
        MinusY = "-y",
        /// Along z.
        Z = "z",
        /// Against z.
        MinusZ = "-z",
    }
    /// What sort of picture the render is.
    RawRenderKind {
        /// An image of the model.
        #[default]
        Model = "model",
        /// A drawing, compared with another drawing.
        Plan = "plan",
        /// A photo of the finished print.
        Print = "print",
    }
    /// How a line runs on a drawing that is not turned.
    RawAxis {
        /// Horizontally, either way.
        #[default]
        Horizontal = "x",
        /// Vertically, either way.
        Vertical = "y",
    }
    /// Which of the two images of a view.
    RawSide {
        /// The render.
        #[default]
        Render = "render",
        /// The reference.
        Reference = "reference",
    }
}

/// A point in pixels, x first.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Mark(pub [f64; 2]);

impl JsonSchema for Mark {
    fn schema_name() -> Cow<'static, str> {
        "Mark".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A point in pixels, [x, y]: (0, 0) is the top left corner of the top left pixel, x runs right, y down.",
            "type": "array",
            "items": { "type": "number", "minimum": -1_000_000, "maximum": 1_000_000 },
            "minItems": 2,
            "maxItems": 2
        })
    }
}

/// One end of a known length.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum RawEnd {
    /// The name of a landmark.
    Landmark(String),
    /// A point of the image that the length is known in.
    Point(Mark),
}

impl JsonSchema for RawEnd {
    fn schema_name() -> Cow<'static, str> {
        "RawEnd".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "The name of a landmark, or a point [x, y] of the image that the length is known in.",
            "type": ["string", "array"],
            "minLength": 1,
            "items": { "type": "number", "minimum": -1_000_000, "maximum": 1_000_000 },
            "minItems": 2,
            "maxItems": 2
        })
    }
}

macro_rules! numbers_or_texts {
    ($($(#[$doc:meta])* $name:ident, $description:literal;)+) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[serde(untagged)]
        pub enum $name {
            /// A plain number.
            Number(f64),
            /// A text.
            Text(String),
        }

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "description": $description, "type": ["number", "string"], "maxLength": 200 })
            }
        }
    )+};
}

numbers_or_texts! {
    /// A length as the file has it.
    RawLength, "A number in the job's unit, or a text with its unit: \"1180 mm\", \"46.5 in\", \"3' 10 1/2\\\"\".";
    /// A scale as the file has it.
    RawScale, "\"1:24\", \"1/24\", or the number 24 for 1:24; \"2:1\" is an enlargement.";
    /// A width over a height as the file has it.
    RawAspect, "Width over height: \"16:9\", \"2.39:1\", a number, or \"210 mm x 297 mm\".";
}

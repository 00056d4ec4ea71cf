//! A solved camera as files for CAD: glTF, matrices, a small table.
//!
//! # Source
//! Khronos Group, "glTF 2.0 specification" (2021), sections 3.10 and 5.12 to 5.14: a camera looks along its -z axis, y is up,
//! and its picture lies evenly about its axis.
use super::{
    camera::{JsonAttitude, JsonCamera, JsonTold},
    csv::cell,
    json::nine_digits,
};
use crate::statistics::words::decimals;
use serde_json::{Value, json};

/// A file to be written: its name and its text.
#[derive(Clone, Debug, PartialEq)]
pub struct CameraFile {
    /// Name, without a folder.
    pub name: String,
    /// Content.
    pub text: String,
}

/// Distance of a parallel camera from what it looks at, where its own cannot be told, in widths of its picture.
const AWAY: f64 = 10.0;
/// Perspective over scale below which a camera is a parallel one: its picture bends by less than any pixel.
const PARALLEL: f64 = 1e-9;

/// What a camera is by its matrix, the best estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Pinhole {
    /// Pixels a millimetre at the middle of the datum.
    scale: f64,
    /// Focal length, pixels; `None` for a parallel projection.
    focal: Option<f64>,
    /// Principal point, pixels; of a parallel projection, the middle of the picture.
    principal: [f64; 2],
    /// Place, millimetres.
    centre: [f64; 3],
    /// x to the right, y up, z back: rows, in model axes.
    axes: [[f64; 3]; 3],
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|k| a[k] * b[k]).sum()
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

impl Pinhole {
    fn of(attitude: &JsonAttitude, picture: [f64; 2]) -> Self {
        let exterior = &attitude.exterior;
        let (axis, up) = (exterior.axis, exterior.up);
        let right = cross(axis, up);
        let rows = exterior.matrix;
        let of = |row: usize| [rows[row][0], rows[row][1], rows[row][2]];
        let middle = exterior.looks_at_model_mm;
        // The last row is 1 over the distance along the axis: 1 at the middle.
        let depth = dot(of(2), middle) + rows[2][3];
        let q = dot(of(2), axis) / depth;
        let scale = dot(of(0), right) / depth;
        let is_parallel = q <= PARALLEL * scale;
        let shown = |row: usize| (dot(of(row), middle) + rows[row][3]) / depth;
        let seen = [shown(0), shown(1)];
        let axes = [right, up, axis.map(|v| -v)];
        let down = up.map(|v| -v);
        let place = |aside: [f64; 2], away: f64| {
            std::array::from_fn(|k| {
                middle[k] - aside[0] * right[k] - aside[1] * down[k] - away * axis[k]
            })
        };
        if is_parallel {
            let principal = picture.map(|side| side / 2.0);
            let aside = [0, 1].map(|k| (seen[k] - principal[k]) / scale);
            return Self {
                scale,
                focal: None,
                principal,
                centre: place(aside, AWAY * picture[0] / scale),
                axes,
            };
        }
        let principal = [0, 1].map(|row| dot(of(row), axis) / (depth * q));
        let aside = [0, 1].map(|k| (seen[k] - principal[k]) / scale);
        Self {
            scale,
            focal: Some(scale / q),
            principal,
            centre: place(aside, 1.0 / q),
            axes,
        }
    }

    /// The point of its axis that is as far away as the subject.
    fn target(&self) -> [f64; 3] {
        let away = self.focal.map_or(0.0, |focal| focal / self.scale);
        std::array::from_fn(|k| self.centre[k] - away.max(1.0) * self.axes[2][k])
    }

    /// Model millimetres to the camera's axes (x right, y up, z back), homogeneous: four rows.
    fn view_matrix(&self) -> [[f64; 4]; 4] {
        let mut rows = [[0.0, 0.0, 0.0, 1.0]; 4];
        for (row, axis) in rows.iter_mut().zip(self.axes) {
            *row = [axis[0], axis[1], axis[2], -dot(axis, self.centre)];
        }
        rows
    }
}

/// The larger picture that has the principal point in its middle, and what is to be cropped off it.
struct Larger {
    size: [f64; 2],
    /// Left, top, right, bottom, pixels.
    crop: [f64; 4],
}

impl Larger {
    fn of(principal: [f64; 2], picture: [f64; 2]) -> Self {
        let half = [0, 1].map(|k| principal[k].max(picture[k] - principal[k]));
        let before = [0, 1].map(|k| half[k] - principal[k]);
        Self {
            size: half.map(|h| 2.0 * h),
            crop: [
                before[0],
                before[1],
                2.0 * half[0] - picture[0] - before[0],
                2.0 * half[1] - picture[1] - before[1],
            ],
        }
    }
}

impl JsonCamera {
    /// The camera as files; of two attitudes the second has its own glTF.
    pub fn files(&self, view: &str) -> Vec<CameraFile> {
        let file = |name: &str, text: String| CameraFile {
            name: name.to_owned(),
            text,
        };
        let mut files = vec![
            file("camera.gltf", self.gltf(&self.first, view)),
            file("camera.json", self.matrices(view)),
            file("camera.csv", self.table(view)),
        ];
        if let Some(second) = &self.second_attitude {
            files.push(file(
                "camera-second.gltf",
                self.gltf(&second.attitude, view),
            ));
        }
        files
    }

    /// The first camera as CAD programs ask for it: with more digits than are known, for its numbers belong together.
    pub(super) fn cad_lines(&self) -> Vec<String> {
        let pinhole = Pinhole::of(&self.first, self.picture_px);
        let larger = Larger::of(pinhole.principal, self.picture_px);
        let point = |p: [f64; 3], places| {
            let [x, y, z] = p.map(|v| decimals(v, places));
            format!("({x}, {y}, {z})")
        };
        let eye = if is_told(&self.first) {
            format!("eye {} mm", point(pinhole.centre, 3))
        } else {
            format!(
                "eye cannot be told, {} mm fits as well as others farther along the axis",
                point(pinhole.centre, 3)
            )
        };
        let view = match pinhole.focal {
            Some(focal) => {
                let angle = 2.0 * (larger.size[1] / 2.0 / focal).atan().to_degrees();
                format!("vertical field of view {}°", decimals(angle, 3))
            }
            None => format!(
                "parallel projection, {} mm high",
                decimals(larger.size[1] / pinhole.scale, 3)
            ),
        };
        let [left, top, right, bottom] = larger.crop.map(|v| decimals(v, 0));
        let [width, height] = larger.size.map(|v| decimals(v, 0));
        vec![
            "  for CAD       the best estimate; its numbers belong together, so with more digits than are known".to_owned(),
            format!(
                "    {eye}, target {} mm, up {}",
                point(pinhole.target(), 3),
                point(pinhole.axes[1], 4)
            ),
            format!(
                "    {view}, picture {width} x {height} px, of which {left} px left, {top} top, {right} right and {bottom} bottom are cropped"
            ),
        ]
    }

    fn gltf(&self, attitude: &JsonAttitude, view: &str) -> String {
        let pinhole = Pinhole::of(attitude, self.picture_px);
        let larger = Larger::of(pinhole.principal, self.picture_px);
        let camera = match pinhole.focal {
            Some(focal) => json!({
                "name": view,
                "type": "perspective",
                "perspective": {
                    "yfov": nine_digits(2.0 * (larger.size[1] / 2.0 / focal).atan()),
                    "aspectRatio": nine_digits(larger.size[0] / larger.size[1]),
                    "znear": nine_digits(focal / pinhole.scale / 100.0),
                },
            }),
            None => json!({
                "name": view,
                "type": "orthographic",
                "orthographic": {
                    "xmag": nine_digits(larger.size[0] / 2.0 / pinhole.scale),
                    "ymag": nine_digits(larger.size[1] / 2.0 / pinhole.scale),
                    "znear": 0.0,
                    "zfar": nine_digits(2.0 * AWAY * self.picture_px[0] / pinhole.scale),
                },
            }),
        };
        // Column by column: the camera's axes, then its place.
        let [x, y, z] = pinhole.axes;
        let matrix: Vec<f64> = [x, y, z, pinhole.centre]
            .iter()
            .zip([0.0, 0.0, 0.0, 1.0])
            .flat_map(|(c, last)| [c[0], c[1], c[2], last])
            .map(nine_digits)
            .collect();
        let value = json!({
            "asset": { "version": "2.0", "generator": "tickstrip" },
            "scene": 0,
            "scenes": [{ "nodes": [0] }],
            "nodes": [{ "name": view, "camera": 0, "matrix": matrix }],
            "cameras": [camera],
            "extras": {
                "unit": "mm",
                "axes": "those of the model",
                "picture_px": self.picture_px,
                "rendered_px": larger.size.map(nine_digits),
                "crop_px": crop(&larger),
            },
        });
        text_of(&value)
    }

    fn matrices(&self, view: &str) -> String {
        let one = |attitude: &JsonAttitude| {
            let pinhole = Pinhole::of(attitude, self.picture_px);
            let larger = Larger::of(pinhole.principal, self.picture_px);
            // In parts of the larger side.
            let side = self.picture_px[0].max(self.picture_px[1]);
            let shift = [0, 1].map(|k| (self.picture_px[k] / 2.0 - pinhole.principal[k]) / side);
            json!({
                "projection_3x4": attitude.exterior.matrix,
                "view_4x4": pinhole.view_matrix().map(|row| row.map(nine_digits)),
                // Null where the place cannot be told: any point back along the axis would do.
                "eye_mm": if is_told(attitude) { json!(pinhole.centre.map(nine_digits)) } else { Value::Null },
                "eye_untold": attitude.exterior.centre_model_mm[0].untold,
                "target_mm": pinhole.target().map(nine_digits),
                "axis": attitude.exterior.axis,
                "up": attitude.exterior.up,
                "focal_length_px": pinhole.focal.map(nine_digits),
                "principal_point_px": pinhole.principal.map(nine_digits),
                "shift": shift.map(nine_digits),
                // That of the picture to be rendered, as the line for CAD and the glTF file have it.
                "vertical_field_of_view_deg": pinhole.focal.map(|f| {
                    nine_digits(2.0 * (larger.size[1] / 2.0 / f).atan().to_degrees())
                }),
                "rendered_px": larger.size.map(nine_digits),
                "crop_px": crop(&larger),
            })
        };
        text_of(&json!({
            "view": view,
            "picture_px": self.picture_px,
            "first": one(&self.first),
            "second": self.second_attitude.as_ref().map(|s| one(&s.attitude)),
        }))
    }

    fn table(&self, view: &str) -> String {
        let (exterior, interior) = (&self.first.exterior, &self.first.interior);
        let [x, y, z] = &exterior.centre_model_mm;
        let rows: [(&str, &str, &JsonTold); 9] = [
            ("place x", "mm", x),
            ("place y", "mm", y),
            ("place z", "mm", z),
            ("distance", "mm", &exterior.distance_model_mm),
            ("azimuth", "deg", &exterior.azimuth_deg),
            ("elevation", "deg", &exterior.elevation_deg),
            ("roll", "deg", &exterior.roll_deg),
            ("focal length", "px", &interior.focal_length_px),
            ("field of view", "deg", &interior.field_of_view_deg),
        ];
        let number = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
        let mut text = "view,figure,unit,value,low,high,untold\r\n".to_owned();
        for (figure, unit, told) in rows {
            text.push_str(&format!(
                "{},{figure},{unit},{},{},{},{}\r\n",
                cell(view),
                number(told.value),
                number(told.low),
                number(told.high),
                told.untold.unwrap_or_default()
            ));
        }
        text
    }
}

/// Whether the place of the camera can be told.
fn is_told(attitude: &JsonAttitude) -> bool {
    attitude.exterior.centre_model_mm[0].value.is_some()
}

fn crop(larger: &Larger) -> Value {
    let [left, top, right, bottom] = larger.crop.map(nine_digits);
    json!({ "left": left, "top": top, "right": right, "bottom": bottom })
}

fn text_of(value: &Value) -> String {
    let text = serde_json::to_string_pretty(value).expect("a value can always be written");
    text + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::{ModelPoint, Point},
        registration::space::{KnownFocal, KnownLens, KnownPoint, Photo, SpaceMark, resect},
        report::camera::CameraOfView,
    };

    /// A box seen by `matrix`, and the points that it was solved by.
    fn solved(matrix: [[f64; 4]; 3]) -> (JsonCamera, Vec<SpaceMark>) {
        let shown = |p: [f64; 3]| {
            let [x, y, w] = matrix.map(|r| r[0] * p[0] + r[1] * p[1] + r[2] * p[2] + r[3]);
            Point::new(x / w, y / w)
        };
        let corners = (0..8).map(|k| [0, 1, 2].map(|axis| f64::from(k >> axis & 1) * 20.0 - 4.0));
        let marks: Vec<SpaceMark> = corners
            .map(|place| SpaceMark {
                name: format!("corner {place:?}"),
                place: ModelPoint(place),
                place_sigma_mm: 0.0,
                mark: shown(place),
                is_datum: true,
            })
            .collect();
        let photo = Photo {
            size: (1200, 800),
            mark_sigma_px: Some(0.01),
            focal: KnownFocal::Unknown,
            principal_point: KnownPoint::Middle { deviation: 0.15 },
            lens: KnownLens::NONE,
            screen: None,
        };
        let found = resect(&photo, &marks).expect("a camera");
        let camera = CameraOfView::solved("side", &found, &marks).camera;
        (camera.expect("solved"), marks)
    }

    /// Where a glTF camera's picture, cropped, shows a point (section 3.10 of the specification).
    fn by_gltf(camera: &JsonCamera, p: [f64; 3]) -> [f64; 2] {
        let files = camera.files("side");
        assert_eq!(files[0].name, "camera.gltf");
        let gltf: Value = serde_json::from_str(&files[0].text).expect("JSON");
        let matrix: Vec<f64> =
            serde_json::from_value(gltf["nodes"][0]["matrix"].clone()).expect("numbers");
        let from_eye = [0, 1, 2].map(|k| p[k] - matrix[12 + k]);
        let own = [0, 1, 2].map(|column| {
            (0..3)
                .map(|k| matrix[4 * column + k] * from_eye[k])
                .sum::<f64>()
        });
        let number = |v: &Value| v.as_f64().expect("a number");
        let seen = &gltf["cameras"][0];
        let [x, y] = match seen["type"].as_str() {
            Some("perspective") => {
                let top = (number(&seen["perspective"]["yfov"]) / 2.0).tan();
                let side = top * number(&seen["perspective"]["aspectRatio"]);
                [own[0] / -own[2] / side, own[1] / -own[2] / top]
            }
            _ => {
                let own_depth = -own[2];
                let seen = &seen["orthographic"];
                assert!(own_depth > 0.0 && own_depth < number(&seen["zfar"]));
                [
                    own[0] / number(&seen["xmag"]),
                    own[1] / number(&seen["ymag"]),
                ]
            }
        };
        let extras = &gltf["extras"];
        let size = [0, 1].map(|k| number(&extras["rendered_px"][k]));
        [
            (1.0 + x) / 2.0 * size[0] - number(&extras["crop_px"]["left"]),
            (1.0 - y) / 2.0 * size[1] - number(&extras["crop_px"]["top"]),
        ]
    }

    #[test]
    fn a_render_by_the_gltf_camera_shows_every_point_where_it_was_marked() {
        // x right, y down, z away of a camera that looks along y, 90 mm before the box, its axis off the middle.
        let perspective = [
            [1500.0, 640.0, 0.0, 640.0 * 90.0],
            [0.0, 330.0, -1500.0, 330.0 * 90.0 + 9000.0],
            [0.0, 1.0, 0.0, 90.0],
        ];
        let parallel = [
            [18.0, 6.0, 0.0, 500.0],
            [-2.0, 6.0, -17.888_543_82, 600.0],
            [0.0, 0.0, 0.0, 1.0],
        ];
        for (matrix, kind) in [(perspective, "perspective"), (parallel, "orthographic")] {
            let (camera, marks) = solved(matrix);
            for mark in &marks {
                let [x, y] = by_gltf(&camera, mark.place.0);
                let off = mark.mark.distance(Point::new(x, y));
                // Nine digits of numbers up to a hundred millimetres, and of a place that is ten pictures away.
                assert!(off < 0.01, "{kind}: {off} px at {}", mark.name);
            }
        }
    }
}

//! Where the demo's photograph truly shows a place of its side render.
use serde_json::Value;
use std::path::Path;

pub const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// The photo of the screen, as `scripts/demo_screen.py` takes it: a turned film picture, a plane, a lens.
pub struct Truth {
    photo_from_film: [[f64; 3]; 3],
    bend: f64,
    regions: Vec<Part>,
}

/// A part of the model with its errors.
struct Part {
    name: String,
    anchor: [f64; 2],
    size: [f64; 2],
    rotation: f64,
    offset: [f64; 2],
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn pair(value: &Value) -> [f64; 2] {
    [number(&value[0]), number(&value[1])]
}

impl Truth {
    pub fn read() -> Self {
        let text = std::fs::read(Path::new(DEMO).join("truth.json")).expect("there");
        let truth: Value = serde_json::from_slice(&text).expect("JSON");
        let view = &truth["views"][0];
        let matrix = &view["photo_without_lens_from_film_picture"];
        let part = |region: &Value| Part {
            name: region["name"].as_str().expect("a name").to_owned(),
            anchor: pair(&region["anchor"]),
            size: ["width_percent", "height_percent"].map(|key| number(&region[key]) / 100.0),
            rotation: number(&region["rotation_deg"]).to_radians(),
            offset: pair(&region["offset_px"]),
        };
        let regions = view["regions"].as_array().expect("a list");
        Self {
            photo_from_film: [0, 1, 2].map(|r| [0, 1, 2].map(|c| number(&matrix[r][c]))),
            bend: number(&view["bend"]),
            regions: regions.iter().map(part).collect(),
        }
    }

    /// The place in the photo of a place in the render, on a part with errors or on none.
    pub fn in_reference(&self, part: Option<&str>, at: [f64; 2]) -> [f64; 2] {
        let own = part.and_then(|name| self.regions.iter().find(|r| r.name == name));
        let [x, y] = own.map_or(at, |part| part.without_errors(at));
        // 20 px a model mm at 1:24; the pump's (0, 0) at (240, 1150), y up; the film picture turned by 1.2 degrees.
        let [x, y] = [(x - 240.0) * 1.2 * 0.7, (y - 1150.0) * 1.2 * 0.7];
        let (s, c) = 1.2_f64.to_radians().sin_cos();
        let film = [c * x - s * y + 519.0, s * x + c * y + 1000.0];
        let [u, v, w] = self
            .photo_from_film
            .map(|row| row[0] * film[0] + row[1] * film[1] + row[2]);
        self.bent([u / w, v / w])
    }

    /// Where the lens shows what a perfect one shows at a place of the photo, 1900 x 1210 px.
    fn bent(&self, straight: [f64; 2]) -> [f64; 2] {
        let (middle, half) = ([950.0, 605.0], 950.0_f64.hypot(605.0));
        let mut at = straight;
        for _ in 0..60 {
            let d = [0, 1].map(|k| (at[k] - middle[k]) / half);
            let longer = 1.0 + self.bend * (d[0] * d[0] + d[1] * d[1]);
            at = [0, 1].map(|k| at[k] + straight[k] - (middle[k] + half * d[k] * longer));
        }
        at
    }
}

impl Part {
    /// The place of the subject that the model shows at `at`.
    fn without_errors(&self, at: [f64; 2]) -> [f64; 2] {
        let d = [0, 1].map(|k| at[k] - self.anchor[k] - self.offset[k]);
        let (s, c) = self.rotation.sin_cos();
        let turned = [c * d[0] + s * d[1], -s * d[0] + c * d[1]];
        [0, 1].map(|k| self.anchor[k] + turned[k] / (1.0 + self.size[k]))
    }
}

#[test]
fn the_truth_is_that_of_the_demo_s_marks() {
    let text = std::fs::read(Path::new(DEMO).join("truth.json")).expect("there");
    let json: Value = serde_json::from_slice(&text).expect("JSON");
    let truth = Truth::read();
    let landmarks = json["views"][0]["landmarks"].as_array().expect("a list");
    for landmark in landmarks {
        let found = truth.in_reference(landmark["part"].as_str(), pair(&landmark["render"]));
        let wanted = pair(&landmark["reference"]);
        let off = (found[0] - wanted[0]).hypot(found[1] - wanted[1]);
        // Both are written with three or four decimals.
        assert!(off < 0.01, "{landmark}: {found:?}");
    }
}

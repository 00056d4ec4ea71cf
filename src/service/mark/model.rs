//! The job's mesh for the page: read once, drawn on a turntable tile by tile, and asked for places under a click.
use super::{at_once::at_once, stamp};
use crate::{
    drawing,
    drawn::{self, JobMesh, Picked, Turntable, Up},
    images::Budget,
    job::ModelSource,
    meshes::{self, Features, Projection},
    pipeline::{HeldMesh, NoMesh},
};
use image::imageops;
use serde_json::{Value, json};
use std::{
    fs,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

/// Width and height of the turntable's picture, in whose pixels places are told.
const SIZE: [u32; 2] = [1600, 1200];
/// Side of a tile, pixels: the coarsest reduction is one, so that a turned model is drawn once.
const TILE: u32 = 800;
/// Reductions, the finest first: times the size of the picture. Four times finer, a model of 200 mm has 40 pixels a millimetre.
const LEVELS: [f64; 4] = [4.0, 2.0, 1.0, 0.5];
/// Pixels around a tile that are drawn with it and cut off: at the border of a picture edges are not hidden.
const BORDER: u32 = 4;
/// Bytes a pixel that is drawn takes meanwhile.
const EACH_PIXEL: u64 = 40;

/// Why there is no model: a stable code and the words.
pub(super) type Why = (&'static str, String);

/// The mesh that was read last.
#[derive(Debug)]
pub(super) struct Models {
    memory: Budget,
    /// One mesh is read, one tile is drawn at a time: either uses all processors.
    turn: Mutex<()>,
    shelf: Arc<Mutex<Option<Arc<OwnModel>>>>,
}

/// A mesh that was read.
#[derive(Debug)]
pub(super) struct OwnModel {
    stamp: String,
    held: HeldMesh,
    features: Features,
    up: Up,
}

impl Models {
    pub fn new(memory: Budget) -> Self {
        let shelf = Arc::<Mutex<Option<Arc<OwnModel>>>>::default();
        let kept = Arc::downgrade(&shelf);
        // A mesh that nobody looks at just now is read again when it is wanted.
        memory.keep_store(Box::new(move || {
            if let Some(shelf) = kept.upgrade() {
                *locked(&shelf) = None;
            }
        }));
        Self {
            memory,
            turn: Mutex::default(),
            shelf,
        }
    }

    /// The mesh, read where it is not held.
    ///
    /// # Errors
    /// Where it cannot be used, or takes more memory than is free just now.
    pub fn read(&self, source: &ModelSource) -> Result<Arc<OwnModel>, Why> {
        let stamp = stamp_of(source);
        if let Some(found) = self.held(&stamp) {
            return Ok(found);
        }
        let _turn = self.turn();
        if let Some(found) = self.held(&stamp) {
            return Ok(found);
        }
        // The one before is of no more use.
        *locked(&self.shelf) = None;
        let held = HeldMesh::read(source, &self.memory, &at_once()).map_err(|why| match why {
            NoMesh::Stopped => no_memory(),
            NoMesh::Failed(failure) => (failure.code, failure.text),
        })?;
        let model = Arc::new(OwnModel {
            features: held.mesh.features(),
            up: up_of(source),
            stamp,
            held,
        });
        *locked(&self.shelf) = Some(Arc::clone(&model));
        Ok(model)
    }

    /// The mesh, where it is held.
    pub fn at_hand(&self, source: &ModelSource) -> Option<Arc<OwnModel>> {
        self.held(&stamp_of(source))
    }

    /// Whether the mesh of this stamp is held.
    pub fn holds(&self, stamp: &str) -> bool {
        self.held(stamp).is_some()
    }

    /// One tile of the model as it is seen from a direction, as JPEG; `None` where there is none, or the mesh is another one by now.
    pub fn tile(
        &self,
        (stamp, turn): (&str, &str),
        level: usize,
        [column, row]: [u32; 2],
    ) -> Option<Vec<u8>> {
        let model = self.held(stamp)?;
        let table = model.turntable(turn)?;
        let finer = *LEVELS.get(level)?;
        let size = SIZE.map(|side| (f64::from(side) * finer) as u32);
        let (left, top) = (column.checked_mul(TILE)?, row.checked_mul(TILE)?);
        let width = TILE.min(size[0].checked_sub(left)?);
        let height = TILE.min(size[1].checked_sub(top)?);
        if width == 0 || height == 0 {
            return None;
        }
        let drawn = [width, height].map(|side| side + 2 * BORDER);
        let bytes = EACH_PIXEL * u64::from(drawn[0]) * u64::from(drawn[1]);
        let _turn = self.turn();
        let _memory = self.memory.take(bytes, &at_once()).ok()?;
        let [x, y, last] = table.matrix(model.model(), SIZE.map(f64::from));
        let moved = |mut row: [f64; 4], by: u32| {
            row = row.map(|v| v * finer);
            row[3] += f64::from(BORDER) - f64::from(by);
            row
        };
        let rows = [moved(x, left), moved(y, top), last];
        let projection = Projection::new(rows, model.model()).ok()?;
        let mesh = &model.held.mesh;
        let picture = meshes::draw(&mesh.model, &mesh.edges, &projection, drawn).ok()?;
        let tile = imageops::crop_imm(&picture.picture, BORDER, BORDER, width, height);
        drawing::encode_jpeg(&tile.to_image()).ok()
    }

    fn held(&self, stamp: &str) -> Option<Arc<OwnModel>> {
        let shelf = locked(&self.shelf);
        let held = shelf.as_ref().filter(|held| held.stamp == stamp);
        held.map(Arc::clone)
    }

    fn turn(&self) -> MutexGuard<'_, ()> {
        self.turn.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl OwnModel {
    /// What the page has to know to ask for tiles and to show places in them.
    pub fn describe(&self) -> Value {
        let levels = LEVELS.map(|finer| SIZE.map(|side| (f64::from(side) * finer) as u32));
        let [least, greatest] = self.model().model_box();
        let middle: [f64; 3] = std::array::from_fn(|k| (least[k] + greatest[k]) / 2.0);
        let straight = Turntable {
            up: self.up,
            azimuth_deg: 0.0,
            elevation_deg: 0.0,
        };
        // How long a millimetre across the sight is.
        let [across, ..] = straight.matrix(self.model(), SIZE.map(f64::from));
        let scale = across[0].hypot(across[1]).hypot(across[2]);
        let parts = self.model().parts().iter().map(|part| part.name.as_str());
        json!({
            "stamp": self.stamp,
            "tile": TILE,
            "size": SIZE,
            "levels": levels,
            "up": if self.up == Up::Y { "y" } else { "z" },
            "box": [least, greatest],
            "middle": middle,
            "scale": scale,
            "facets": self.model().facets().len(),
            "parts": parts.collect::<Vec<_>>(),
        })
    }

    /// The place on the model that a click means, in the picture of this camera, or of the turntable; `zoom` is that of the screen.
    pub fn pick(&self, projection: &Projection, click: ([f64; 2], f64, bool)) -> Option<Picked> {
        drawn::pick(self.model(), &self.features, projection, click)
    }

    /// The camera of the turntable's picture.
    pub fn turned(&self, turn: &str) -> Option<Projection> {
        let table = self.turntable(turn)?;
        table.projection(self.model(), SIZE.map(f64::from)).ok()
    }

    /// A direction as the page words it: tenths of degrees of azimuth and elevation.
    fn turntable(&self, turn: &str) -> Option<Turntable> {
        let (azimuth, elevation) = turn.split_once('_')?;
        let tenths = |text: &str, least: i32, most: i32| {
            let value: i32 = text.parse().ok()?;
            (least..=most)
                .contains(&value)
                .then(|| f64::from(value) / 10.0)
        };
        Some(Turntable {
            up: self.up,
            azimuth_deg: tenths(azimuth, 0, 3599)?,
            elevation_deg: tenths(elevation, -900, 900)?,
        })
    }

    pub fn model(&self) -> &meshes::Model {
        &self.held.mesh.model
    }

    pub fn mesh(&self) -> &JobMesh {
        &self.held.mesh
    }

    pub fn features(&self) -> &Features {
        &self.features
    }
}

/// Of files that glTF has written y is up, as that format says; CAD has z up.
fn up_of(source: &ModelSource) -> Up {
    let ending = source.files.first().and_then(|file| file.path.extension());
    let ending = ending.map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("gltf" | "glb") => Up::Y,
        _ => Up::Z,
    }
}

/// Tells a mesh from all others and from itself after a change of its files.
fn stamp_of(source: &ModelSource) -> String {
    let each = source.files.iter().map(|file| {
        let data = fs::metadata(&file.path).ok();
        let changed = data.as_ref().and_then(|data| data.modified().ok());
        format!("{file:?} {:?} {changed:?}", data.map(|data| data.len()))
    });
    let files: Vec<String> = each.collect();
    stamp::of(&format!(
        "{files:?} {:?} {:?}",
        source.unit, source.crease_deg
    ))
}

fn no_memory() -> Why {
    let text = "there is not enough memory just now to read the model's mesh; try again, or raise --max-memory";
    ("no-memory", text.to_owned())
}

fn locked(shelf: &Mutex<Option<Arc<OwnModel>>>) -> MutexGuard<'_, Option<Arc<OwnModel>>> {
    shelf.lock().unwrap_or_else(PoisonError::into_inner)
}

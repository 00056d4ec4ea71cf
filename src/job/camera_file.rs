//! A camera in a file of its own, as the "camera" of a render has it in a job file.
use super::{
    Error,
    error::FaultKind,
    input::read_input,
    raw::RawCamera,
    resolve::{check_camera, of_unit_size},
    slips,
};
use serde_json::{Value, json};
use std::path::Path;

/// Largest file that is read, bytes: twelve numbers take far less.
const MOST_BYTES: u64 = 1 << 16;

/// Reads `{"matrix": [[..4], [..4], [..4]]}`, or the `camera.json` of a solved camera, its first attitude: three rows that take model millimetres (x, y, z, 1) to render pixels, homogeneous. The numbers
/// come out near 1.
///
/// # Errors
/// [`Error::Unreadable`] where the file cannot be read, [`Error::Faulty`] where it holds no camera.
pub fn read_camera(path: &Path) -> Result<[[f64; 4]; 3], Error> {
    let unreadable = |source| Error::Unreadable {
        file: path.to_owned(),
        source,
    };
    let bytes = read_input(path, MOST_BYTES).map_err(|error| unreadable(error.into()))?;
    let fail = |pointer, kind| Error::one(path, pointer, kind);
    let value: Value = serde_json::from_slice(&bytes).map_err(|error| {
        let text = slips::words(&String::from_utf8_lossy(&bytes), &error);
        fail("", FaultKind::NotJson { text })
    })?;
    // What a solved camera's file calls its matrix.
    let value = match value.pointer("/first/projection_3x4") {
        Some(matrix) => json!({ "matrix": matrix }),
        None => value,
    };
    let raw: RawCamera = serde_json::from_value(value).map_err(|error| {
        let kind = FaultKind::WrongType {
            found: error.to_string(),
            expected: "{\"matrix\": [...]} with three rows of four numbers".to_owned(),
        };
        fail("", kind)
    })?;
    let camera = of_unit_size(raw.matrix);
    check_camera(&raw, &camera).map_err(|kind| fail("/matrix", kind))?;
    Ok(camera)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_camera_is_read_and_what_is_none_is_refused_in_words() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("camera.json");
        let read = |text: &str| {
            std::fs::write(&path, text).expect("written");
            read_camera(&path).map_err(|error| error.to_string())
        };
        let sound = "{\"matrix\": [[1, 0, 0, 5], [0, -1, 0, 7], [0, 0, 0, 1]]}";
        assert_eq!(
            read(sound).expect("sound")[1][1] * 7.0,
            -read(sound).expect("sound")[1][3]
        );
        let solved = format!(
            "{{\"view\": \"hall\", \"first\": {}}}",
            sound.replace("matrix", "projection_3x4")
        );
        assert_eq!(read(&solved), read(sound));
        for (text, expected) in [
            ("{", "not JSON"),
            (
                "{\"matrix\": [[1, 0, 0, 5]]}",
                "it must be {\"matrix\": [...]} with three rows of four numbers",
            ),
            (
                "{\"matrix\": [[1, 0, 0, 5], [1, 0, 0, 5], [0, 0, 0, 1]]}",
                "/matrix",
            ),
        ] {
            let error = read(text).expect_err(text);
            assert!(error.contains(expected), "{error}");
        }
    }
}

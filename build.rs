//! Tells the program by which source it was built, so that what another build has compared is compared again.
use std::{
    env, fs, io,
    path::{Path, PathBuf},
};

fn main() -> io::Result<()> {
    let root = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let mut files = Vec::new();
    gather(&root.join("src"), &mut files)?;
    files.extend(["Cargo.toml", "Cargo.lock"].map(|name| root.join(name)));
    files.sort();
    let mut hasher = blake3::Hasher::new();
    for file in files.iter().filter(|file| file.is_file()) {
        let bytes = fs::read(file)?;
        let name = file.strip_prefix(&root).unwrap_or(file).to_string_lossy();
        hasher.update(&(name.len() as u64).to_le_bytes());
        hasher.update(name.replace('\\', "/").as_bytes());
        hasher.update(&(bytes.len() as u64).to_le_bytes());
        hasher.update(&bytes);
    }
    let source = hasher.finalize().to_hex();
    println!("cargo::rustc-env=TICKSTRIP_SOURCE={source}");
    for watched in ["src", "Cargo.toml", "Cargo.lock"] {
        println!("cargo::rerun-if-changed={watched}");
    }
    Ok(())
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            gather(&path, files)?;
        } else {
            files.push(path);
        }
    }
    Ok(())
}

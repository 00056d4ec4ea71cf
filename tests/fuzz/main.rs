//! Inputs that nobody would write: mutated job files, lengths, images, meshes, marks and requests. Whatever comes in, the
//! program ends soon, does not panic, and either does its work or says why not.
//!
//! `tests/ATTACKS.md` says how to run an entry longer and how to run a finding again.
mod bytes;
mod camera;
mod comparison;
mod harness;
mod http;
mod image_file;
mod job_file;
mod json;
mod lengths;
mod mesh_file;
mod page;
mod random;
mod registration;
mod service;
mod words;

use harness::{Entry, run};
use random::Random;
use std::{
    fs,
    path::{Path, PathBuf},
};

fn corpus_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/fuzz")
}

/// The files of a folder of the corpus, by name.
fn corpus(folder: &str) -> Vec<Vec<u8>> {
    let entries = fs::read_dir(corpus_folder().join(folder)).expect("the corpus is there");
    let mut files: Vec<PathBuf> = entries.map(|e| e.expect("readable").path()).collect();
    files.sort();
    assert!(!files.is_empty());
    files
        .into_iter()
        .map(|file| fs::read(file).expect("readable"))
        .collect()
}

#[test]
fn job_file() {
    let seeds = corpus("jobs");
    let make = |random: &mut Random| json::mutated(random, &seeds);
    let entry = Entry::new("job_file", seeds.clone(), make, job_file::check);
    run(entry);
}

#[test]
fn lengths() {
    let text = fs::read_to_string(corpus_folder().join("lengths.txt")).expect("there");
    let seeds: Vec<Vec<u8>> = text.lines().map(|line| line.as_bytes().to_vec()).collect();
    let make = |random: &mut Random| lengths::made(random, &seeds);
    run(Entry::new("lengths", seeds.clone(), make, lengths::check));
}

#[test]
fn registration() {
    let seeds = corpus("jobs");
    let make = |random: &mut Random| registration::made(random, &seeds);
    let entry = Entry::new("registration", seeds.clone(), make, registration::check);
    run(entry);
}

#[test]
fn cameras() {
    let seeds = corpus("jobs");
    let make = |random: &mut Random| camera::made(random, &seeds);
    run(Entry::new("cameras", seeds.clone(), make, camera::check));
}

#[test]
fn image() {
    let seeds = corpus("images");
    let make = |random: &mut Random| bytes::mutated(random, &seeds);
    let folder = tempfile::tempdir().expect("a folder");
    let check = move |input: &[u8]| image_file::check(folder.path(), input);
    run(Entry::new("image", seeds.clone(), make, check));
}

#[test]
fn mesh() {
    // What an independent writer wrote, and packages that are not packed.
    let seeds = corpus("../meshes");
    let make = |random: &mut Random| bytes::mutated(random, &seeds);
    let folder = tempfile::tempdir().expect("a folder");
    let check = move |input: &[u8]| mesh_file::check(folder.path(), input);
    run(Entry::new("mesh", seeds.clone(), make, check));
}

#[test]
fn comparison() {
    let seeds = corpus("jobs");
    let make = |random: &mut Random| comparison::made(random, &seeds);
    let entry = Entry::new("comparison", seeds.clone(), make, comparison::check);
    run(entry);
}

#[test]
fn service() {
    let seeds = corpus("requests");
    let make = |random: &mut Random| http::mutated(random, &seeds);
    let service = service::Service::start(&corpus_folder().join("jobs"));
    let check = move |input: &[u8]| service.check(input);
    run(Entry::new("service", Vec::new(), make, check));
}

#[test]
fn page() {
    let seeds = corpus("page-requests");
    let make = |random: &mut Random| http::mutated(random, &seeds);
    let page = page::Page::start(&corpus_folder().join("jobs"));
    let check = move |input: &[u8]| page.check(input);
    run(Entry::new("page", Vec::new(), make, check));
}

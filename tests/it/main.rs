//! The behaviour of the program and of the library, each file one side of it.
//!
//! One crate, so that its tests run beside each other and are linked once: none changes the environment, the current folder
//! or anything else of the process, and every server takes a port that is free. A group runs alone by its name:
//! `cargo test --test it harder::`.
mod support;

mod archive;
mod backdrop;
mod batches;
mod camera;
mod carry;
mod carry_by_camera;
mod command_line;
mod demo;
mod demo_camera;
mod depth;
mod draw;
mod drawn;
mod drawn_refused;
mod earlier_issue;
mod edges;
mod harder;
mod image_files;
mod inputs;
mod job_file;
mod kills;
mod mark_page;
mod marked_on;
mod marks_outside;
mod measure;
mod meshes;
mod one_picture;
mod other_camera;
mod page;
mod pictures;
mod plan;
mod print;
mod proposals;
mod rectify;
mod registration;
mod report;
mod results_folder;
mod revision;
mod screen;
mod service;
mod settings;
mod shape;
mod sheets;
mod shots;
mod silhouette;
mod stop;
mod together;
mod turntable;
mod warnings;
mod watch;

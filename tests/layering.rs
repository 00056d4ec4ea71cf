//! Checks that modules import only what DEVELOPERS.md lets them.

use std::{collections::BTreeSet, fs, path::Path};

/// Module, then the modules it may name with `crate::`. Bottom to top.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("stop", &[]),
    ("printable", &[]),
    ("warning", &[]),
    ("units", &["printable"]),
    ("frame", &[]),
    ("statistics", &[]),
    ("kernels", &["stop", "frame"]),
    ("job", &["warning", "printable", "units", "frame"]),
    ("images", &["stop", "printable", "kernels", "job"]),
    (
        "rectification",
        &[
            "warning",
            "printable",
            "units",
            "frame",
            "statistics",
            "kernels",
            "job",
        ],
    ),
    (
        "registration",
        &[
            "stop",
            "printable",
            "units",
            "frame",
            "statistics",
            "job",
            "rectification",
        ],
    ),
    (
        "edges",
        &["stop", "units", "frame", "kernels", "job", "registration"],
    ),
    (
        "measurement",
        &[
            "warning",
            "stop",
            "printable",
            "units",
            "frame",
            "statistics",
            "kernels",
            "job",
            "images",
            "rectification",
            "registration",
            "edges",
        ],
    ),
    (
        "drawing",
        &[
            "warning",
            "stop",
            "printable",
            "units",
            "frame",
            "statistics",
            "kernels",
            "job",
            "rectification",
            "registration",
            "measurement",
        ],
    ),
    (
        "report",
        &[
            "warning",
            "stop",
            "printable",
            "units",
            "frame",
            "statistics",
            "job",
            "rectification",
            "registration",
            "measurement",
            "drawing",
        ],
    ),
    (
        "pipeline",
        &[
            "stop",
            "printable",
            "job",
            "images",
            "rectification",
            "registration",
            "measurement",
            "drawing",
            "report",
        ],
    ),
    (
        "service",
        &[
            "stop",
            "printable",
            "frame",
            "kernels",
            "job",
            "images",
            "rectification",
            "registration",
            "measurement",
            "drawing",
            "report",
            "pipeline",
        ],
    ),
    (
        "cli",
        &[
            "warning",
            "stop",
            "printable",
            "units",
            "images",
            "drawing",
            "job",
            "measurement",
            "rectification",
            "pipeline",
            "report",
            "service",
        ],
    ),
];

/// First path segments after each `crate::` in `source`, groups included; comments dropped.
fn crate_imports(source: &str) -> BTreeSet<String> {
    let code: String = source
        .lines()
        .map(|l| l.split("//").next().expect("a split has a first part"))
        .collect::<Vec<_>>()
        .join("\n");
    let mut found = BTreeSet::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = code[at + 7..].trim_start();
        let Some(group) = rest.strip_prefix('{') else {
            found.insert(first_segment(rest));
            continue;
        };
        let mut depth = 0;
        let mut item = String::new();
        for c in group.chars() {
            match c {
                '{' => depth += 1,
                '}' if depth == 0 => break,
                '}' => depth -= 1,
                ',' if depth == 0 => {
                    found.insert(first_segment(&std::mem::take(&mut item)));
                    continue;
                }
                _ => {}
            }
            item.push(c);
        }
        found.insert(first_segment(&item));
    }
    found.remove("");
    found
}

fn first_segment(path: &str) -> String {
    path.trim_start()
        .chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect()
}

fn rust_files(dir: &Path, out: &mut Vec<std::path::PathBuf>) {
    for entry in fs::read_dir(dir).expect("readable") {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            rust_files(&path, out)
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path)
        }
    }
}

#[test]
fn modules_import_only_the_layers_below_them() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let mut wrong = Vec::new();
    for file in &files {
        let relative = file.strip_prefix(&src).expect("inside src");
        let module = relative
            .iter()
            .next()
            .expect("a file has a name")
            .to_str()
            .expect("names are UTF-8")
            .trim_end_matches(".rs");
        if module == "lib" || module == "main" {
            continue;
        }
        let allowed = MAY_IMPORT
            .iter()
            .find(|(m, _)| *m == module)
            .map(|(_, a)| *a);
        let Some(allowed) = allowed else {
            wrong.push(format!(
                "{}: module `{module}` is not in MAY_IMPORT",
                relative.display()
            ));
            continue;
        };
        let source = fs::read_to_string(file).expect("readable");
        if source.contains("super::super") {
            wrong.push(format!(
                "{}: `super::super` hides an import; use `crate::`",
                relative.display()
            ));
        }
        for import in crate_imports(&source) {
            if import != module && !allowed.contains(&import.as_str()) {
                wrong.push(format!(
                    "{}: `{module}` may not import `{import}`",
                    relative.display()
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

//! Checks that modules import only what DEVELOPERS.md lets them, and that no two files import each other.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::Path,
};

/// Module, then the modules it may name with `crate::`. Bottom to top.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("stop", &[]),
    ("settings", &[]),
    ("printable", &[]),
    ("warning", &[]),
    ("units", &["printable"]),
    ("frame", &[]),
    ("statistics", &[]),
    ("kernels", &["stop", "frame"]),
    ("job", &["warning", "printable", "units", "frame"]),
    (
        "rectification",
        &[
            "settings",
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
            "settings",
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
        "carry",
        &[
            "settings",
            "printable",
            "frame",
            "statistics",
            "kernels",
            "job",
            "registration",
        ],
    ),
    (
        "shots",
        &["settings", "frame", "statistics", "kernels", "carry"],
    ),
    ("images", &["stop", "printable", "kernels", "job", "shots"]),
    ("contour", &["settings", "frame", "kernels", "job"]),
    (
        "meshes",
        &["stop", "printable", "units", "frame", "kernels", "job"],
    ),
    (
        "drawn",
        &[
            "settings",
            "stop",
            "printable",
            "units",
            "frame",
            "kernels",
            "job",
            "meshes",
            "rectification",
            "registration",
        ],
    ),
    (
        "edges",
        &[
            "settings",
            "stop",
            "units",
            "frame",
            "kernels",
            "job",
            "meshes",
            "registration",
        ],
    ),
    (
        "measurement",
        &[
            "settings",
            "warning",
            "stop",
            "printable",
            "units",
            "frame",
            "statistics",
            "kernels",
            "job",
            "images",
            "meshes",
            "rectification",
            "registration",
            "edges",
        ],
    ),
    (
        "proposal",
        &[
            "settings",
            "frame",
            "kernels",
            "job",
            "contour",
            "registration",
            "edges",
            "measurement",
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
            "meshes",
            "rectification",
            "registration",
            "measurement",
        ],
    ),
    (
        "report",
        &[
            "settings",
            "warning",
            "stop",
            "printable",
            "units",
            "frame",
            "statistics",
            "job",
            "images",
            "rectification",
            "registration",
            "measurement",
            "drawing",
        ],
    ),
    (
        "pipeline",
        &[
            "edges",
            "carry",
            "contour",
            "warning",
            "stop",
            "printable",
            "job",
            "images",
            "meshes",
            "rectification",
            "registration",
            "drawn",
            "measurement",
            "drawing",
            "report",
        ],
    ),
    (
        "service",
        &[
            "warning",
            "carry",
            "stop",
            "printable",
            "frame",
            "kernels",
            "job",
            "images",
            "statistics",
            "meshes",
            "drawn",
            "contour",
            "rectification",
            "registration",
            "measurement",
            "proposal",
            "drawing",
            "report",
            "pipeline",
        ],
    ),
    ("plan", &["settings", "job", "images", "drawing"]),
    (
        "cli",
        &[
            "plan",
            "carry",
            "warning",
            "stop",
            "printable",
            "units",
            "images",
            "meshes",
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

/// The names of a module, from the crate's root.
type ModulePath = Vec<String>;

/// What a file imports, as far as that is written in it.
struct Imports {
    file: String,
    /// Paths as written.
    paths: Vec<String>,
    /// Name to path of what it hands on by `pub use`: nobody who takes it from here depends on this file for it.
    handed_on: BTreeMap<String, String>,
}

/// A source as far as it counts: without comments and without what is compiled for tests alone.
fn counted_code(source: &str) -> String {
    let mut lines = source
        .lines()
        .map(|l| l.split("//").next().expect("a split has a first part"));
    let mut code = String::new();
    while let Some(line) = lines.next() {
        if line.trim_end() != "#[cfg(test)]" {
            code.push_str(line);
            code.push('\n');
            continue;
        }
        // The sources are formatted: an item that is not on one line ends where a line begins with its brace.
        let item = lines.by_ref().find(|line| !line.starts_with("#["));
        if item.is_some_and(|item| item.trim_end().ends_with('{')) {
            lines.by_ref().find(|line| line.starts_with('}'));
        }
    }
    code
}

/// The paths of a use tree, each with the name that it has here.
fn paths_of_tree(tree: &str) -> Vec<(String, String)> {
    let tree = tree.trim();
    let Some((head, group)) = tree.split_once('{') else {
        let (path, name) = match tree.split_once(" as ") {
            Some((path, name)) => (path.trim(), name.trim()),
            None => (tree, tree.rsplit("::").next().unwrap_or(tree)),
        };
        return vec![(path.to_owned(), name.to_owned())];
    };
    let group = group.trim_end().strip_suffix('}').unwrap_or(group);
    let mut depth = 0;
    let parts = group.split(|c| {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        c == ',' && depth == 0
    });
    parts
        .filter(|part| !part.trim().is_empty())
        .flat_map(paths_of_tree)
        .map(|(path, name)| (format!("{head}{path}"), name))
        .collect()
}

/// Splits `use` items off: whether each is public and its tree; and the rest of the code.
fn split_uses(code: &str) -> (Vec<(bool, String)>, String) {
    let (mut uses, mut rest) = (Vec::new(), String::new());
    let mut lines = code.lines();
    while let Some(line) = lines.next() {
        let start = line.trim_start();
        // In front of a use item stands nothing, `pub`, or `pub(...)`.
        let is_item = |head: &str| {
            let head = head.strip_prefix("pub").unwrap_or(head).trim();
            head.is_empty() || (head.starts_with('(') && head.ends_with(')'))
        };
        let item = start.split_once("use ").filter(|(head, _)| is_item(head));
        let Some((head, first)) = item else {
            rest.push_str(line);
            rest.push('\n');
            continue;
        };
        let is_public = !head.is_empty();
        let mut tree = first.to_owned();
        while !tree.contains(';') {
            let Some(line) = lines.next() else { break };
            tree.push_str(line);
        }
        uses.push((is_public, tree.replace(';', "")));
    }
    (uses, rest)
}

/// The paths in the code that begin with `crate`, `super` or one of the `children`.
fn paths_in_code(code: &str, children: &BTreeSet<&str>) -> Vec<String> {
    let is_of_path = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
    code.split(|c| !is_of_path(c))
        .map(|word| word.trim_end_matches(':'))
        .filter_map(|word| {
            let (first, rest) = word.split_once("::")?;
            match first {
                "crate" | "super" => Some(word.to_owned()),
                child if children.contains(child) => Some(format!("self::{child}::{rest}")),
                _ => None,
            }
        })
        .collect()
}

/// The imports of each file, by its module; `files` are paths below `src` with their sources.
fn imports(files: &[(String, String)]) -> BTreeMap<ModulePath, Imports> {
    let module_of = |file: &str| -> ModulePath {
        let path = file.trim_end_matches(".rs");
        let path = path.strip_suffix("/mod").unwrap_or(path);
        let names = path.split('/').filter(|name| *name != "lib");
        names.map(str::to_owned).collect()
    };
    let modules: Vec<ModulePath> = files.iter().map(|(file, _)| module_of(file)).collect();
    let of_file = |((file, source), module): (&(String, String), &ModulePath)| {
        let is_child =
            |other: &&ModulePath| other.len() == module.len() + 1 && other.starts_with(module);
        let children = modules.iter().filter(is_child);
        let children = children
            .filter_map(|child| child.last().map(String::as_str))
            .collect();
        let (uses, rest) = split_uses(&counted_code(source));
        let mut paths = paths_in_code(&rest, &children);
        let mut handed_on = BTreeMap::new();
        for (is_public, tree) in uses {
            for (path, name) in paths_of_tree(&tree) {
                match is_public {
                    true => drop(handed_on.insert(name, path)),
                    false => paths.push(path),
                }
            }
        }
        let file = file.clone();
        let imports = Imports {
            file,
            paths,
            handed_on,
        };
        (module.clone(), imports)
    };
    files.iter().zip(&modules).map(of_file).collect()
}

/// The module whose file says what the path leads to; `None` where it leads out of the crate.
fn leads_to(
    all: &BTreeMap<ModulePath, Imports>,
    from: &ModulePath,
    path: &str,
    seen: &mut BTreeSet<(ModulePath, String)>,
) -> Option<ModulePath> {
    let mut names = path.split("::").map(str::trim).peekable();
    let mut at = from.clone();
    match *names.peek()? {
        "crate" => at.clear(),
        "super" | "self" => {}
        first => {
            at.push(first.to_owned());
            if !all.contains_key(&at) {
                return None;
            }
            names.next();
        }
    }
    while let Some(name) = names.next() {
        match name {
            "crate" | "self" => continue,
            "super" => {
                at.pop();
                continue;
            }
            _ => {}
        }
        at.push(name.to_owned());
        if all.contains_key(&at) {
            continue;
        }
        at.pop();
        let handed_on = all.get(&at).and_then(|imports| imports.handed_on.get(name));
        if let Some(further) = handed_on
            && seen.insert((at.clone(), name.to_owned()))
        {
            let rest: String = names.map(|name| format!("::{name}")).collect();
            return leads_to(all, &at, &format!("{further}{rest}"), seen).or(Some(at));
        }
        break;
    }
    Some(at)
}

/// The groups of files in which each leads to each of the others by imports, every group in order.
fn circles(files: &[(String, String)]) -> Vec<Vec<String>> {
    let all = imports(files);
    let next: BTreeMap<&ModulePath, BTreeSet<ModulePath>> = all
        .iter()
        .map(|(module, imports)| {
            let targets = imports.paths.iter();
            let targets = targets.filter_map(|p| leads_to(&all, module, p, &mut BTreeSet::new()));
            (
                module,
                targets
                    .filter(|to| to != module && all.contains_key(to))
                    .collect(),
            )
        })
        .collect();
    let reached = |module: &ModulePath| {
        let mut found = BTreeSet::new();
        let mut open: Vec<&ModulePath> = next[module].iter().collect();
        while let Some(module) = open.pop() {
            if found.insert(module) {
                open.extend(&next[module]);
            }
        }
        found
    };
    let reached: BTreeMap<&ModulePath, _> = all.keys().map(|m| (m, reached(m))).collect();
    let mut groups = BTreeSet::new();
    for (module, others) in &reached {
        if others.contains(module) {
            let back = others
                .iter()
                .filter(|other| reached[**other].contains(module));
            groups.insert(back.map(|module| all[*module].file.clone()).collect());
        }
    }
    groups.into_iter().collect()
}

#[test]
fn no_two_files_import_each_other() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&src, &mut files);
    let sources: Vec<(String, String)> = files
        .iter()
        .map(|file| {
            let relative = file.strip_prefix(&src).expect("inside src");
            let names: Vec<_> = relative.iter().map(|name| name.to_string_lossy()).collect();
            (names.join("/"), fs::read_to_string(file).expect("readable"))
        })
        .filter(|(file, _)| file != "main.rs")
        .collect();
    let found: Vec<String> = circles(&sources).iter().map(|c| c.join(", ")).collect();
    assert!(
        found.is_empty(),
        "files that import each other; move what they share to a file of its own:\n{}",
        found.join("\n")
    );
}

#[test]
fn a_planted_circle_is_found_and_what_is_handed_on_is_none() {
    let found = |files: &[(&str, &str)]| {
        let owned = |(file, source): &(&str, &str)| ((*file).to_owned(), (*source).to_owned());
        circles(&files.iter().map(owned).collect::<Vec<_>>())
    };
    let one = |names: &[&str]| vec![names.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>()];
    // By a use tree one way, by a path in the code the other way.
    let planted = [
        ("lib.rs", "pub mod shop;\nmod tools;\n"),
        (
            "shop/mod.rs",
            "mod till;\npub use till::Till;\nuse crate::{tools::{saw::{self, Saw}, plane as p}};\n",
        ),
        ("shop/till.rs", "pub struct Till;\n"),
        ("tools/mod.rs", "pub mod saw;\npub mod plane;\n"),
        ("tools/saw.rs", "fn cut() {\n    crate::shop::sell();\n}\n"),
        ("tools/plane.rs", "pub struct Plane;\n"),
    ];
    assert_eq!(found(&planted), one(&["shop/mod.rs", "tools/saw.rs"]));
    // A file and its child.
    let child = [
        ("shop.rs", "mod till;\nfn open() {\n    till::count();\n}\n"),
        ("shop/till.rs", "use super::{\n    Price,\n};\n"),
    ];
    assert_eq!(found(&child), one(&["shop.rs", "shop/till.rs"]));
    // Three in a row.
    let three = [
        ("a.rs", "use crate::b::B;\n"),
        ("b.rs", "use crate::c::C;\n"),
        ("c.rs", "pub use crate::a::Other;\nuse crate::a::A;\n"),
    ];
    assert_eq!(found(&three), one(&["a.rs", "b.rs", "c.rs"]));
    // What is only handed on, said in a comment, or for tests alone leads nowhere.
    let sound = [
        (
            "shop.rs",
            "mod price;\nmod till;\npub use price::Price;\nuse till::count;\n",
        ),
        ("shop/price.rs", "pub struct Price;\n"),
        (
            "shop/till.rs",
            "use super::Price;\n// super::open\n\n#[cfg(test)]\npub(crate) mod tests {\n    use super::super::open;\n}\n",
        ),
    ];
    assert_eq!(found(&sound), Vec::<Vec<String>>::new());
}

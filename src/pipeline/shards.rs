//! A batch shared out: each process compares some of the views into a folder of its own, and the results are put together from all of
//! them afterwards, as one process would have made them.
use super::{
    CompareOptions, Error, Event, Outcome, Results, Reuse,
    results_folder::remove_results,
    run::{Done, Made, Rest, Run, selected},
    shard::{Shard, ShardError, shards_folder},
    view_key::{Asked, Fields, PROGRAM},
};
use crate::{
    images::Budget,
    job::{InputError, Job, View, read_input},
    printable::shortened,
    report::{CollectedView, Report},
    stop::Stop,
};
use serde::{Deserialize, Serialize};
use std::{
    fs,
    path::{Path, PathBuf},
};

/// Name of the list in a shard's folder.
const LIST: &str = "shard.json";
const FORMAT: &str = "tickstrip-shard";
const FORMAT_VERSION: u32 = 1;
/// Longest list that is read, bytes: a name and a failure for each of some 100,000 views; a judgement.
const MOST_BYTES: u64 = 64 << 20;

/// What a shard compared.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct List {
    format: String,
    format_version: u32,
    /// Checksum of the program's source.
    program: String,
    job_blake3: String,
    number: u32,
    of: u32,
    settings: Settings,
    /// Names of its views.
    views: Vec<String>,
    /// Those that could not be compared.
    failed: Vec<FailedView>,
}

/// What was asked for, the same for all shards of a batch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Settings {
    asked: Asked,
    full_page: bool,
    /// Date that all sheets have; `None`: that of the day.
    date: Option<String>,
    /// Names of the views that were asked for; none: all.
    views: Vec<String>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
struct FailedView {
    key: Option<String>,
    collected: CollectedView,
}

/// What became of a shard.
#[derive(Clone, Debug)]
pub struct ShardOutcome {
    /// The folder with its results.
    pub out: PathBuf,
    /// How many of its views were compared, well or not.
    pub compared: usize,
    /// How many had not changed and were taken over.
    pub taken_over: usize,
    /// Views that could not be compared, with the reasons.
    pub failed: Vec<(String, String)>,
    /// What is to be told of files of the user's in the folder.
    pub notes: Vec<String>,
}

/// Compares the views of a job that a shard has, into a folder of its own beside the results: `first` views of the batch come before
/// those of this job.
///
/// # Errors
/// Those of [`compare_until`](super::compare_until).
pub fn compare_shard(
    job: &Job,
    options: &CompareOptions,
    (shard, first): (Shard, usize),
    observer: &(dyn Fn(Event<'_>) + Sync),
    stop: &Stop,
) -> Result<ShardOutcome, Error> {
    let mut own = options.clone();
    own.take_from.push(options.out.clone());
    let compare = || {
        let all = selected(job, &own.views)?;
        let numbered = all.into_iter().enumerate();
        let views = numbered.filter(|(k, _)| shard.has(first + k));
        let views: Vec<&View> = views.map(|(_, view)| view).collect();
        let run = Run {
            job,
            options: &own,
            observer,
            views,
        };
        of_run(&run, shard, &options.out)
    };
    stop.run(compare)
        .map_err(|source| Error::Threads { source })?
}

fn of_run(run: &Run<'_>, shard: Shard, whole: &Path) -> Result<ShardOutcome, Error> {
    let out = shard.folder(whole);
    let ((list, counts), _, notes) = run.in_folder(&out, |folder| {
        let keys = run.keys();
        let (done, mesh) = run.do_views((folder, &keys), &Rest::IsCompared)?;
        drop(mesh);
        let taken_over = done.iter().filter(|d| matches!(d, Done::Taken(_))).count();
        let counts = [done.len() - taken_over, taken_over];
        let (mut failed, mut made_from) = (Vec::new(), Fields::default());
        for (view, done) in run.views.iter().zip(done) {
            let (collected, body) = done.into_results(folder)?;
            match body {
                Some(body) => made_from.add("view", body.checksum()),
                None => failed.push(FailedView {
                    key: keys.of(run.job, view).key,
                    collected,
                }),
            }
        }
        let list = List {
            format: FORMAT.to_owned(),
            format_version: FORMAT_VERSION,
            program: PROGRAM.to_owned(),
            job_blake3: run.job.blake3.clone(),
            number: shard.number,
            of: shard.of,
            settings: Settings::of(run.options),
            views: run.views.iter().map(|view| view.name.clone()).collect(),
            failed,
        };
        let text = serde_json::to_string_pretty(&list).expect("a list has only string keys");
        folder.write(LIST, format!("{text}\n").as_bytes())?;
        made_from.add("list", &text);
        Ok(Made {
            what: (list, counts),
            results: Results::InPlace,
            made_from: Some(made_from.checksum()),
        })
    })?;
    let reason = |failed: FailedView| {
        let entry = failed.collected.entry;
        (entry.name, entry.error.map_or_else(String::new, |e| e.text))
    };
    Ok(ShardOutcome {
        out,
        compared: counts[0],
        taken_over: counts[1],
        failed: list.failed.into_iter().map(reason).collect(),
        notes,
    })
}

impl Settings {
    fn of(options: &CompareOptions) -> Self {
        Self {
            asked: Asked::of(options),
            full_page: options.full_page,
            date: options.date_to_fit().map(str::to_owned),
            views: options.views.clone(),
        }
    }
}

/// What a merge is asked for.
#[derive(Clone, Debug)]
pub struct Merged {
    /// Folder of the results, beside which the shards lie.
    pub out: PathBuf,
    /// Date of a sheet that concerns several views, where the shards were not asked for one.
    pub date: String,
    /// The memory that all images share.
    pub memory: Budget,
    /// The report of an earlier comparison that this one is held against.
    pub against: Option<Report>,
}

/// Puts the shards of a job together into the results that one process would have made, and takes their folders away.
///
/// # Errors
/// [`Error::Shards`] where one is missing or of something else, and those of [`compare_until`](super::compare_until).
pub fn merge(
    job: &Job,
    asked: &Merged,
    observer: &(dyn Fn(Event<'_>) + Sync),
    stop: &Stop,
) -> Result<Outcome, Error> {
    let shards = Shards::read(job, &asked.out)?;
    let settings = &shards.lists[0].1.settings;
    let options = CompareOptions {
        views: settings.views.clone(),
        paper: settings.asked.paper,
        max_megapixels: settings.asked.max_megapixels,
        explain: settings.asked.explain,
        pictures: settings.asked.pictures.clone(),
        full_page: settings.full_page,
        against: asked.against.clone(),
        reuse: match settings.date {
            Some(_) => Reuse::OfThisDate,
            None => Reuse::OfAnyDate,
        },
        ..CompareOptions::new(
            asked.out.clone(),
            settings.date.clone().unwrap_or_else(|| asked.date.clone()),
            asked.memory.clone(),
        )
    };
    let put_together = || {
        let run = Run {
            job,
            options: &options,
            observer,
            views: selected(job, &options.views)?,
        };
        run.to_results(&Rest::IsTold {
            from: shards.lists.iter().map(|(path, _)| path.clone()).collect(),
            of: &|view, key| Ok(shards.told(job, view, key)?),
        })
    };
    let outcome = stop
        .run(put_together)
        .map_err(|source| Error::Threads { source })?;
    let mut outcome = outcome?;
    // It was the shards that compared them.
    outcome.compared += std::mem::take(&mut outcome.taken_over);
    outcome.notes.extend(shards.take_away());
    Ok(outcome)
}

/// The shards that lie beside the results of a job: all of them, and of one batch.
struct Shards {
    folder: PathBuf,
    lists: Vec<(PathBuf, List)>,
}

impl Shards {
    fn read(job: &Job, out: &Path) -> Result<Self, ShardError> {
        let folder = shards_folder(out);
        let name = job.file.display().to_string();
        let mut found: Vec<(Shard, PathBuf)> = (fs::read_dir(&folder).into_iter().flatten())
            .flatten()
            .filter_map(|entry| {
                let shard = Shard::of_name(entry.file_name().to_str()?)?;
                Some((shard, entry.path()))
            })
            .collect();
        found.sort_by_key(|(shard, _)| (shard.of, shard.number));
        let Some((first, _)) = found.first().cloned() else {
            return Err(ShardError::None {
                path: folder,
                job: name,
            });
        };
        if let Some((other, _)) = found.iter().find(|(shard, _)| shard.of != first.of) {
            return Err(ShardError::Mixed {
                path: folder,
                first: first.of,
                other: other.of,
            });
        }
        let mut lists: Vec<(PathBuf, List)> = Vec::new();
        for (shard, path) in found {
            let list = List::read(&path, shard)?;
            let settings = lists.first().map(|(_, list)| &list.settings);
            let what = match () {
                () if list.program != PROGRAM => {
                    "this shard was compared by another build of the program"
                }
                () if list.job_blake3 != job.blake3 => {
                    "the job file was changed since this shard was compared"
                }
                () if settings.is_some_and(|s| *s != list.settings) => {
                    "this shard was compared with other options than the first one"
                }
                () => {
                    lists.push((path, list));
                    continue;
                }
            };
            return Err(ShardError::Other {
                path,
                what,
                job: name,
                shard,
            });
        }
        let is_there = |number: &u32| lists.iter().any(|(_, list)| list.number == *number);
        let missing: Vec<u32> = (1..=first.of).filter(|number| !is_there(number)).collect();
        match missing.first() {
            None => Ok(Self { folder, lists }),
            Some(number) => Err(ShardError::Missing {
                path: folder,
                of: first.of,
                missing: in_words(&missing),
                job: name,
                first: Shard {
                    number: *number,
                    of: first.of,
                },
            }),
        }
    }

    /// What is told of a view that could not be compared.
    fn told(&self, job: &Job, view: &View, key: Option<&str>) -> Result<CollectedView, ShardError> {
        let has_view = |list: &List| list.views.contains(&view.name);
        let own = self
            .lists
            .iter()
            .map(|(_, list)| list)
            .find(|list| has_view(list));
        let Some(list) = own else {
            return Err(ShardError::NoShardHas {
                view: shortened(&view.name),
            });
        };
        let is_meant = |failed: &&FailedView| {
            failed.collected.entry.name == view.name && failed.key.as_deref() == key
        };
        let failed = list.failed.iter().find(is_meant);
        failed
            .map(|failed| failed.collected.clone())
            .ok_or_else(|| ShardError::ChangedView {
                view: shortened(&view.name),
                shard: Shard {
                    number: list.number,
                    of: list.of,
                },
                job: job.file.display().to_string(),
            })
    }

    /// Removes what was written into the folders of the shards; what is to be told of it.
    fn take_away(&self) -> Vec<String> {
        let mut notes = Vec::new();
        for (path, _) in &self.lists {
            let removed = remove_results(path);
            let note = removed.err().map(|error| error.to_string());
            let note = note.or_else(|| path.exists().then(|| "other files lie in it".to_owned()));
            notes.extend(note.map(|why| format!("{} is kept: {why}", path.display())));
        }
        // Where anything else lies in it, it stays.
        let _ = fs::remove_dir(&self.folder);
        notes
    }
}

impl List {
    fn read(folder: &Path, shard: Shard) -> Result<Self, ShardError> {
        let path = folder.join(LIST);
        let list = read_input(&path, MOST_BYTES)
            .map_err(|error: InputError| error.to_string())
            .and_then(|bytes| {
                serde_json::from_slice::<Self>(&bytes).map_err(|error| error.to_string())
            })
            .and_then(|list| {
                let is_such = list.format == FORMAT && list.format_version == FORMAT_VERSION;
                let is_own = (list.number, list.of) == (shard.number, shard.of);
                let failed = list.failed.iter();
                let have_failed = failed.map(|f| &f.collected.entry).all(|entry| {
                    entry.error.is_some() && entry.verdict.is_none() && entry.files.is_empty()
                });
                match is_such && is_own && have_failed {
                    true => Ok(list),
                    false => Err("this is no list of this shard".to_owned()),
                }
            });
        list.map_err(|reason| ShardError::Unreadable { path, reason })
    }
}

/// "3 is", "3, 5 are", "3, 4, 5, 6, 7, 8, 9, 10 and 20 more are".
fn in_words(numbers: &[u32]) -> String {
    const SHOWN: usize = 8;
    let shown: Vec<String> = numbers.iter().take(SHOWN).map(u32::to_string).collect();
    let shown = shown.join(", ");
    match numbers.len() {
        1 => format!("{shown} is"),
        many if many > SHOWN => format!("{shown} and {} more are", many - SHOWN),
        _ => format!("{shown} are"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn missing_shards_are_named() {
        assert_eq!(in_words(&[3]), "3 is");
        assert_eq!(in_words(&[3, 5]), "3, 5 are");
        let many: Vec<u32> = (1..=20).collect();
        assert_eq!(in_words(&many), "1, 2, 3, 4, 5, 6, 7, 8 and 12 more are");
    }
}

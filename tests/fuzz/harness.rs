//! The harness of all entries: makes inputs from a seed until its time is over, runs each where a panic or a hang is
//! seen, and writes what it finds to a file with the command that runs it again.
use crate::random::Random;
use std::{
    any::Any,
    cell::RefCell,
    collections::BTreeMap,
    env, fs,
    io::{Seek, SeekFrom, Write},
    panic::{self, AssertUnwindSafe},
    path::{Path, PathBuf},
    sync::{
        Arc, Once,
        mpsc::{Receiver, SyncSender, sync_channel},
    },
    thread,
    time::{Duration, Instant},
};

/// Time of an entry where `TICKSTRIP_FUZZ_SECONDS` does not say another: eight entries take about 25 s.
const SECONDS: f64 = 3.0;
/// Where `TICKSTRIP_FUZZ_SEED` does not say another.
const SEED: u64 = 1;
/// No input may take longer, where `TICKSTRIP_FUZZ_LONGEST` does not say another: it tells what ends from what does not.
const LONGEST: f64 = 30.0;
/// Different findings after which an entry ends; hangs keep a processor each.
const MOST_FINDINGS: usize = 20;
const MOST_HANGS: usize = 3;
/// The thread that runs inputs.
const WORKER: &str = "fuzz-worker";

/// What came of an input that broke no rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    Accepted,
    Refused,
}

/// Breaking a rule is told in words.
pub type Checked = Result<Outcome, String>;

/// One thing that takes input from outside.
pub struct Entry<Make, Check> {
    /// That of the test as well.
    name: &'static str,
    /// Run first, as they are.
    corpus: Vec<Vec<u8>>,
    /// An input from a seed.
    make: Make,
    /// Runs an input and looks at what comes of it.
    check: Check,
}

impl<Make, Check> Entry<Make, Check>
where
    Make: Fn(&mut Random) -> Vec<u8>,
    Check: Fn(&[u8]) -> Checked + Send + Sync + 'static,
{
    pub fn new(name: &'static str, corpus: Vec<Vec<u8>>, make: Make, check: Check) -> Self {
        Self {
            name,
            corpus,
            make,
            check,
        }
    }
}

/// Runs an entry for its time.
///
/// # Panics
/// Where anything was found, with the commands that run it again.
pub fn run<Make, Check>(entry: Entry<Make, Check>)
where
    Make: Fn(&mut Random) -> Vec<u8>,
    Check: Fn(&[u8]) -> Checked + Send + Sync + 'static,
{
    let name = entry.name;
    if let Some(path) = env::var_os("TICKSTRIP_FUZZ_INPUT") {
        let input = fs::read(&path).expect("TICKSTRIP_FUZZ_INPUT names a file");
        match Bench::new(entry.check, longest()).run(input) {
            Ok(outcome) => println_of(&format!("{name}: {outcome:?}")),
            Err(words) => panic!("{name}: {words}"),
        }
        return;
    }
    let budget = Duration::from_secs_f64(setting("TICKSTRIP_FUZZ_SECONDS", SECONDS));
    let seed = setting("TICKSTRIP_FUZZ_SEED", SEED);
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("fuzz");
    let found = search(entry, seed, budget, longest(), &folder);
    if env::var_os("TICKSTRIP_FUZZ_SECONDS").is_some() {
        println_of(&format!("{name}: {}", found.summary()));
    }
    assert!(found.findings.is_empty(), "{}", found.words(name));
}

#[expect(
    clippy::print_stdout,
    reason = "only where somebody set a time or an input"
)]
fn println_of(text: &str) {
    println!("{text}");
}

/// How long an input may take. A machine that is busy with other work needs more than is usual.
pub fn longest() -> Duration {
    Duration::from_secs_f64(setting("TICKSTRIP_FUZZ_LONGEST", LONGEST))
}

fn setting<T: std::str::FromStr>(key: &str, left_out: T) -> T {
    match env::var(key) {
        Ok(text) => text
            .parse()
            .unwrap_or_else(|_| panic!("{key} is {text:?}; it must be a number of 0 or more")),
        Err(_) => left_out,
    }
}

/// What an entry came to.
#[derive(Debug, Default)]
pub struct Found {
    pub accepted: u64,
    pub refused: u64,
    /// By their words without figures: the file of the first input.
    pub findings: BTreeMap<String, Finding>,
}

#[derive(Debug)]
pub struct Finding {
    pub words: String,
    pub file: PathBuf,
    /// Its input follows from this seed; `None`: it is of the corpus.
    pub seed: Option<u64>,
    pub times: u64,
}

impl Found {
    fn summary(&self) -> String {
        format!("{} accepted, {} refused", self.accepted, self.refused)
    }

    fn words(&self, name: &str) -> String {
        let mut text = format!("{} findings ({})\n", self.findings.len(), self.summary());
        for finding in self.findings.values() {
            let from = finding
                .seed
                .map_or("the corpus".to_owned(), |seed| format!("seed {seed}"));
            text.push_str(&format!(
                "- {} ({} times, first from {from})\n  TICKSTRIP_FUZZ_INPUT={} cargo test --locked --test fuzz {name}\n",
                finding.words,
                finding.times,
                finding.file.display(),
            ));
        }
        text
    }

    fn add(&mut self, words: String, seed: Option<u64>, input: &[u8], stem: &Path) {
        let kind: String = words.chars().filter(|c| !c.is_ascii_digit()).collect();
        let number = self.findings.len();
        let finding = self.findings.entry(kind).or_insert_with(|| {
            let file = stem.with_extension(format!("{number}.finding"));
            fs::write(&file, input).expect("the folder of findings can be written");
            Finding {
                words,
                file,
                seed,
                times: 0,
            }
        });
        finding.times += 1;
    }
}

/// Runs the corpus, then inputs from the seeds `first`, `first + 1`, ... until the time is over.
pub fn search<Make, Check>(
    entry: Entry<Make, Check>,
    first: u64,
    budget: Duration,
    longest: Duration,
    folder: &Path,
) -> Found
where
    Make: Fn(&mut Random) -> Vec<u8>,
    Check: Fn(&[u8]) -> Checked + Send + Sync + 'static,
{
    fs::create_dir_all(folder).expect("the folder of findings can be made");
    let stem = folder.join(entry.name);
    let running = Running::new(stem.with_extension("running"));
    let mut bench = Bench::new(entry.check, longest);
    let mut found = Found::default();
    let begun = Instant::now();
    let mut corpus = entry.corpus.into_iter();
    let mut next = first;
    while found.findings.len() < MOST_FINDINGS && bench.hangs < MOST_HANGS {
        let (seed, input) = match corpus.next() {
            Some(input) => (None, input),
            // One is made whatever the time, so that a seed alone runs its input.
            None if next > first && begun.elapsed() >= budget => break,
            None => {
                running.note(next);
                next += 1;
                (Some(next - 1), (entry.make)(&mut Random::new(next - 1)))
            }
        };
        match bench.run(input.clone()) {
            Ok(Outcome::Accepted) => found.accepted += 1,
            Ok(Outcome::Refused) => found.refused += 1,
            Err(words) => found.add(words, seed, &input, &stem),
        }
    }
    running.remove();
    found
}

/// A file with the seed of the input that runs: an abort (stack, memory) takes the process with it, and the seed is left.
struct Running {
    path: PathBuf,
    file: fs::File,
}

impl Running {
    fn new(path: PathBuf) -> Self {
        let file = fs::File::create(&path).expect("the folder of findings can be written");
        Self { path, file }
    }

    fn note(&self, seed: u64) {
        let mut file = &self.file;
        // Over what stands there: cutting the file first would cost more than most inputs.
        file.seek(SeekFrom::Start(0))
            .and_then(|_| writeln!(file, "{seed:<20}"))
            .expect("the folder of findings can be written");
    }

    fn remove(self) {
        let _ = fs::remove_file(self.path);
    }
}

thread_local! {
    /// What the last panic of this thread said, with its place.
    static LAST_PANIC: RefCell<String> = const { RefCell::new(String::new()) };
}

/// Panics of workers are kept in place of printed.
fn keep_panics() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let printing = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            LAST_PANIC.with(|last| *last.borrow_mut() = info.to_string());
            if thread::current().name() != Some(WORKER) {
                printing(info);
            }
        }));
    });
}

/// A thread that runs inputs, replaced when one hangs.
struct Bench<Check> {
    check: Arc<Check>,
    longest: Duration,
    inputs: SyncSender<Vec<u8>>,
    answers: Receiver<Checked>,
    hangs: usize,
}

impl<Check: Fn(&[u8]) -> Checked + Send + Sync + 'static> Bench<Check> {
    fn new(check: Check, longest: Duration) -> Self {
        keep_panics();
        let check = Arc::new(check);
        let (inputs, answers) = worker(Arc::clone(&check));
        Self {
            check,
            longest,
            inputs,
            answers,
            hangs: 0,
        }
    }

    fn run(&mut self, input: Vec<u8>) -> Checked {
        self.inputs
            .send(input)
            .expect("the worker waits for inputs");
        self.answers.recv_timeout(self.longest).unwrap_or_else(|_| {
            self.hangs += 1;
            (self.inputs, self.answers) = worker(Arc::clone(&self.check));
            Err(format!("ran longer than {} s", self.longest.as_secs()))
        })
    }
}

fn worker<Check>(check: Arc<Check>) -> (SyncSender<Vec<u8>>, Receiver<Checked>)
where
    Check: Fn(&[u8]) -> Checked + Send + Sync + 'static,
{
    let (inputs, taken) = sync_channel::<Vec<u8>>(1);
    let (given, answers) = sync_channel(1);
    thread::Builder::new()
        .name(WORKER.to_owned())
        .spawn(move || {
            for input in taken {
                let run = AssertUnwindSafe(|| check(&input));
                let checked = panic::catch_unwind(run).unwrap_or_else(|what| Err(panicked(&*what)));
                if given.send(checked).is_err() {
                    return;
                }
            }
        })
        .expect("a thread can be started");
    (inputs, answers)
}

/// The hook knows the place, unless the panic came from a thread of a pool.
fn panicked(what: &(dyn Any + Send)) -> String {
    let kept = LAST_PANIC.with(|last| std::mem::take(&mut *last.borrow_mut()));
    if !kept.is_empty() {
        return kept;
    }
    let text = what.downcast_ref::<String>().map(String::as_str);
    let text = text.or_else(|| what.downcast_ref::<&str>().copied());
    format!("panicked: {}", text.unwrap_or("without words"))
}

mod tests {
    use super::*;

    fn found(check: impl Fn(&[u8]) -> Checked + Send + Sync + 'static) -> Found {
        let folder = tempfile::tempdir().expect("a folder");
        let make = |random: &mut Random| vec![random.below(4) as u8];
        let entry = Entry::new("planted", vec![b"corpus".to_vec()], make, check);
        let longest = Duration::from_millis(200);
        let found = search(entry, 7, Duration::from_millis(300), longest, folder.path());
        for finding in found.findings.values() {
            let input = fs::read(&finding.file).expect("the input is kept");
            let remade = finding.seed.map_or(b"corpus".to_vec(), |seed| {
                vec![Random::new(seed).below(4) as u8]
            });
            assert_eq!(input, remade, "{finding:?}");
            let words = found.words("planted");
            let command = format!("TICKSTRIP_FUZZ_INPUT={}", finding.file.display());
            assert!(
                words.contains(&command) && words.contains(&finding.words),
                "{words}"
            );
        }
        assert!(!folder.path().join("planted.running").exists());
        found
    }

    fn only(found: &Found) -> &Finding {
        let findings: Vec<_> = found.findings.values().collect();
        assert_eq!(findings.len(), 1, "{findings:?}");
        findings[0]
    }

    #[test]
    fn a_planted_panic_is_found_with_its_place_and_the_search_goes_on() {
        let found = found(|input| {
            assert!(input != [3], "planted for {input:?}");
            Ok(Outcome::Accepted)
        });
        let words = &only(&found).words;
        assert!(
            words.contains("harness.rs") && words.contains("planted for [3]"),
            "{words}"
        );
        assert!(only(&found).times > 1 && found.accepted > 1);
    }

    #[test]
    fn a_planted_hang_is_found() {
        let found = found(|input| {
            if input == [2] {
                thread::sleep(Duration::from_secs(1));
            }
            Ok(Outcome::Refused)
        });
        assert!(only(&found).words.contains("ran longer"));
    }

    #[test]
    fn a_broken_rule_is_found_in_the_corpus_as_well() {
        let found = found(|input| match input {
            b"corpus" => Err("rule 12".to_owned()),
            _ => Ok(Outcome::Refused),
        });
        assert_eq!(
            (only(&found).words.as_str(), only(&found).seed),
            ("rule 12", None)
        );
    }

    #[test]
    fn nothing_is_found_where_nothing_is() {
        assert!(found(|_| Ok(Outcome::Accepted)).findings.is_empty());
    }
}

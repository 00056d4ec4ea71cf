//! What was done to a job, one line a step: undo and redo outlive the page and the program. It is written anew only where it
//! has become long: then the oldest steps go.
use super::edits::{Difference, NoPlace};
use crate::{
    job::{InputError, read_input},
    pipeline::{self, There},
};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::{
    fs::{self, File, OpenOptions},
    io::{self, Seek, SeekFrom, Write},
    path::{Path, PathBuf},
};

/// Largest journal that is read, bytes: a million steps, for a step takes some hundred; a judgement.
const MOST_BYTES: u64 = 256 << 20;

/// How long a journal may become, and how many of its last steps stay when it is longer. A judgement: a step of a large job takes
/// a kilobyte, and nobody takes thousands of steps back one by one.
const LONGEST: Longest = Longest {
    bytes: 16 << 20,
    steps: 2000,
};

/// Bounds of a journal.
#[derive(Clone, Copy, Debug)]
struct Longest {
    bytes: u64,
    steps: usize,
}

/// One line of the journal.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "lowercase")]
enum Line {
    /// The document before anything was done.
    Start {
        document: Value,
    },
    /// A change; steps that were undone before it can no longer be redone.
    Change(Step),
    Undo,
    Redo,
}

/// A change that can be undone.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Step {
    /// What was done, for the user.
    pub label: String,
    /// What it changed.
    #[serde(flatten)]
    pub difference: Difference,
}

/// The journal of one job, and the document it leads to.
#[derive(Debug)]
pub(super) struct Journal {
    path: PathBuf,
    file: File,
    length: u64,
    document: Value,
    steps: Vec<Step>,
    /// Steps that are done; those behind it were undone.
    done: usize,
}

impl Journal {
    /// Opens the journal of a job, or begins one with `document`. One that cannot be read is moved aside.
    pub fn open(path: &Path, document: &Value) -> io::Result<Self> {
        pipeline::clear_left(path);
        let text = match read_input(path, MOST_BYTES) {
            Ok(bytes) => bytes,
            Err(InputError::Missing) => Vec::new(),
            Err(error) => return Err(error.into()),
        };
        // A line without its end was being written when the program was killed.
        let whole = text
            .iter()
            .rposition(|b| *b == b'\n')
            .map_or(0, |at| at + 1);
        match replay(&text[..whole]) {
            Some((read, steps, done)) => {
                let file = OpenOptions::new().write(true).open(path)?;
                file.set_len(whole as u64)?;
                Ok(Self {
                    path: path.to_owned(),
                    file,
                    length: whole as u64,
                    document: read,
                    steps,
                    done,
                })
            }
            None => Self::begin(path, document),
        }
    }

    fn begin(path: &Path, document: &Value) -> io::Result<Self> {
        if fs::metadata(path).is_ok_and(|data| data.len() > 0) {
            // One that was moved aside before stays too.
            fs::rename(
                path,
                pipeline::free_name(&path.with_extension("unreadable")),
            )?;
        }
        let file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .open(path)?;
        let mut journal = Self {
            path: path.to_owned(),
            file,
            length: 0,
            document: document.clone(),
            steps: Vec::new(),
            done: 0,
        };
        journal.append(&Line::Start {
            document: document.clone(),
        })?;
        Ok(journal)
    }

    /// The document after all steps.
    pub fn document(&self) -> &Value {
        &self.document
    }

    /// The step that undo would take back.
    pub fn to_undo(&self) -> Option<&Step> {
        self.steps[..self.done].last()
    }

    /// The step that redo would do again.
    pub fn to_redo(&self) -> Option<&Step> {
        self.steps.get(self.done)
    }

    /// Numbers of steps that can be undone and redone.
    pub fn depth(&self) -> [usize; 2] {
        [self.done, self.steps.len() - self.done]
    }

    /// How far the journal reaches, to return there with [`Journal::retreat`].
    pub fn place(&self) -> u64 {
        self.length
    }

    /// Lets the oldest steps go where the journal has become long; the document stays as it is.
    pub fn shorten(&mut self) -> io::Result<()> {
        self.shorten_to(LONGEST)
    }

    fn shorten_to(&mut self, longest: Longest) -> io::Result<()> {
        if self.length <= longest.bytes {
            return Ok(());
        }
        // All that were undone stay, and as many that are done as there is room for: half of the bytes, so that a journal of
        // large steps is not written anew at each of them.
        let sizes = self.steps[..self.done]
            .iter()
            .rev()
            .map(|step| serde_json::to_vec(step).map_or(u64::MAX, |bytes| bytes.len() as u64));
        let kept = sizes
            .take(longest.steps)
            .scan(0_u64, |sum, size| {
                *sum = sum.saturating_add(size);
                (*sum <= longest.bytes / 2).then_some(())
            })
            .count();
        let first = self.done - kept;
        let mut document = self.document.clone();
        for step in self.steps[first..self.done].iter().rev() {
            step.difference.back(&mut document).map_err(broken)?;
        }
        let mut lines = vec![Line::Start { document }];
        lines.extend(self.steps[first..].iter().cloned().map(Line::Change));
        let undone = self.steps.len() - self.done;
        lines.extend(std::iter::repeat_with(|| Line::Undo).take(undone));
        self.write_anew(&lines)?;
        self.steps.drain(..first);
        self.done = kept;
        Ok(())
    }

    /// Killed meanwhile, the journal is as it was.
    fn write_anew(&mut self, lines: &[Line]) -> io::Result<()> {
        let texts: io::Result<Vec<String>> = lines.iter().map(as_text).collect();
        let text = texts?.concat();
        pipeline::write_whole(&self.path, text.as_bytes(), There::IsReplaced)?;
        self.file = OpenOptions::new().write(true).open(&self.path)?;
        self.length = text.len() as u64;
        Ok(())
    }

    /// Writes a change down.
    pub fn change(&mut self, step: Step) -> io::Result<()> {
        let mut document = self.document.clone();
        step.difference.forth(&mut document).map_err(broken)?;
        self.append(&Line::Change(step.clone()))?;
        self.document = document;
        self.steps.truncate(self.done);
        self.steps.push(step);
        self.done += 1;
        Ok(())
    }

    /// Takes the last step back; `false` where there is none.
    pub fn undo(&mut self) -> io::Result<bool> {
        let Some(step) = self.to_undo() else {
            return Ok(false);
        };
        let mut document = self.document.clone();
        step.difference.back(&mut document).map_err(broken)?;
        self.append(&Line::Undo)?;
        self.document = document;
        self.done -= 1;
        Ok(true)
    }

    /// Does the step again that was taken back last; `false` where there is none.
    pub fn redo(&mut self) -> io::Result<bool> {
        let Some(step) = self.to_redo() else {
            return Ok(false);
        };
        let mut document = self.document.clone();
        step.difference.forth(&mut document).map_err(broken)?;
        self.append(&Line::Redo)?;
        self.document = document;
        self.done += 1;
        Ok(true)
    }

    /// Forgets what was written after `place`: the job file could not follow.
    pub fn retreat(&mut self, place: u64) -> io::Result<()> {
        self.file.set_len(place)?;
        let bytes = read_input(&self.path, MOST_BYTES)?;
        let (document, steps, done) =
            replay(&bytes).ok_or_else(|| io::Error::other("the journal cannot be read back"))?;
        (self.length, self.document) = (place, document);
        (self.steps, self.done) = (steps, done);
        Ok(())
    }

    /// Whether another program has written to it.
    pub fn is_foreign(&self) -> bool {
        fs::metadata(&self.path).map_or(true, |data| data.len() != self.length)
    }

    fn append(&mut self, line: &Line) -> io::Result<()> {
        let text = as_text(line)?;
        let written = self
            .file
            .seek(SeekFrom::Start(self.length))
            .and_then(|_| self.file.write_all(text.as_bytes()))
            .and_then(|()| self.file.sync_data());
        if let Err(error) = written {
            // A full disk leaves half a line.
            let _ = self.file.set_len(self.length);
            return Err(error);
        }
        self.length += text.len() as u64;
        Ok(())
    }
}

/// A line with its end.
fn as_text(line: &Line) -> io::Result<String> {
    let text = serde_json::to_string(line).map_err(io::Error::other)?;
    Ok(text + "\n")
}

fn broken(error: NoPlace) -> io::Error {
    io::Error::other(error)
}

/// The document, the steps and how many of them are done; `None` where the lines are no journal.
fn replay(bytes: &[u8]) -> Option<(Value, Vec<Step>, usize)> {
    let mut lines = bytes
        .split(|b| *b == b'\n')
        .filter(|line| !line.is_empty())
        .map(|line| serde_json::from_slice::<Line>(line).ok());
    let Some(Some(Line::Start { mut document })) = lines.next() else {
        return None;
    };
    let (mut steps, mut done): (Vec<Step>, usize) = (Vec::new(), 0);
    for line in lines {
        match line? {
            Line::Start { .. } => return None,
            Line::Change(step) => {
                step.difference.forth(&mut document).ok()?;
                steps.truncate(done);
                steps.push(step);
                done += 1;
            }
            Line::Undo => {
                done = done.checked_sub(1)?;
                steps[done].difference.back(&mut document).ok()?;
            }
            Line::Redo => {
                steps.get(done)?.difference.forth(&mut document).ok()?;
                done += 1;
            }
        }
    }
    Some((document, steps, done))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn step(before: &Value, after: &Value) -> Step {
        Step {
            label: "a step".to_owned(),
            difference: Difference::between(before, after).expect("they differ"),
        }
    }

    #[test]
    fn steps_are_there_after_opening_again_and_a_torn_line_is_dropped() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("journal");
        let documents: Vec<Value> = (0..4).map(|n| json!({ "n": n })).collect();
        let mut journal = Journal::open(&path, &documents[0]).expect("begun");
        for pair in documents.windows(2) {
            journal.change(step(&pair[0], &pair[1])).expect("written");
        }
        assert!(journal.undo().expect("written") && journal.undo().expect("written"));
        assert!(journal.redo().expect("written"));
        fs::write(
            &path,
            [fs::read(&path).expect("there"), b"{\"step\":\"un".to_vec()].concat(),
        )
        .expect("torn");
        assert!(journal.is_foreign());
        let mut journal = Journal::open(&path, &json!("unused")).expect("read");
        assert_eq!(journal.document(), &documents[2]);
        assert_eq!(journal.depth(), [2, 1]);
        journal
            .change(step(&documents[2], &json!({"n": "other"})))
            .expect("written");
        assert_eq!(journal.depth(), [3, 0]);
        while journal.undo().expect("written") {}
        assert_eq!(journal.document(), &documents[0]);
    }

    #[test]
    fn a_retreat_forgets_the_last_step() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("journal");
        let mut journal = Journal::open(&path, &json!({"n": 0})).expect("begun");
        let place = journal.place();
        journal
            .change(step(&json!({"n": 0}), &json!({"n": 1})))
            .expect("written");
        journal.retreat(place).expect("shortened");
        assert_eq!(journal.document(), &json!({"n": 0}));
        assert!(!journal.is_foreign());
    }

    #[test]
    fn a_long_journal_keeps_its_last_steps_and_those_that_were_undone() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("journal");
        let documents: Vec<Value> = (0..30).map(|n| json!({ "n": n })).collect();
        let mut journal = Journal::open(&path, &documents[0]).expect("begun");
        for pair in documents.windows(2) {
            journal.change(step(&pair[0], &pair[1])).expect("written");
        }
        for _ in 0..4 {
            assert!(journal.undo().expect("written"));
        }
        let before = journal.place();
        let longest = |bytes| Longest { bytes, steps: 10 };
        journal.shorten_to(longest(before)).expect("as it was");
        assert_eq!((journal.place(), journal.depth()), (before, [25, 4]));
        // Room for ten steps by their number.
        journal.shorten_to(longest(before - 1)).expect("shortened");
        assert_eq!(journal.depth(), [10, 4]);
        assert!(journal.place() < before && !journal.is_foreign());
        // By their bytes.
        let few = journal.place() / 2;
        journal.shorten_to(longest(few)).expect("shortened");
        let [done, undone] = journal.depth();
        assert!(done < 10 && undone == 4, "{done} {undone}");
        let mut journal = Journal::open(&path, &json!("unused")).expect("read");
        assert_eq!(journal.depth(), [done, undone]);
        assert_eq!(journal.document(), &documents[25]);
        while journal.redo().expect("written") {}
        assert_eq!(journal.document(), &documents[29]);
        while journal.undo().expect("written") {}
        assert_eq!(journal.document(), &documents[25 - done]);
    }

    #[test]
    fn what_is_no_journal_is_moved_aside_and_so_is_the_next_one() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("journal");
        for text in ["something else\n", "yet another\n"] {
            fs::write(&path, text).expect("written");
            let journal = Journal::open(&path, &json!({})).expect("begun");
            assert_eq!(journal.depth(), [0, 0]);
        }
        let aside = ["journal.unreadable", "journal.unreadable.kept-1"]
            .map(|name| fs::read_to_string(folder.path().join(name)).expect("kept"));
        assert_eq!(aside, ["something else\n", "yet another\n"]);
    }
}

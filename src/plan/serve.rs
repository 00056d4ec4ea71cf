//! The process that reads a plan: bounds itself, reads standard input, answers on standard output, and ends.
use super::{
    bounds::bound,
    document::{Document, Drawn},
    request::{Answer, Refusal, TASK, Task, Wanted},
};
use hayro::vello_cpu::Pixmap;
use std::{
    ffi::OsString,
    io::{self, BufWriter, Read, Write},
    panic, thread,
};

/// Stack of the thread that reads, bytes: drawings are nested some hundred deep at most, in frames of some kilobytes.
const STACK: usize = 64 << 20;

/// The task that the program was started for by itself; `None` for what a user says.
pub(crate) fn task(arguments: &[OsString]) -> Option<Vec<String>> {
    let (first, rest) = arguments.get(1..)?.split_first()?;
    let words = rest.iter().map(|word| word.to_string_lossy().into_owned());
    (first == TASK).then(|| words.collect())
}

/// Answers the task and says whether that went well.
///
/// Nothing of the file is looked at before this process is bounded.
pub(crate) fn serve(words: &[String]) -> bool {
    let Some(task) = Task::of_words(words) else {
        return false;
    };
    panic::set_hook(Box::new(|_| {}));
    let (answer, picture) = match bound(task.memory, task.seconds) {
        Ok(()) => answer(task),
        Err(_) => refused(Refusal::Unbounded),
    };
    write(&answer, picture.as_ref()).is_ok()
}

fn refused(refusal: Refusal) -> (Answer, Option<Pixmap>) {
    (Answer::Refused(refusal), None)
}

fn answer(task: Task) -> (Answer, Option<Pixmap>) {
    let reading = thread::Builder::new().stack_size(STACK).spawn(move || {
        let mut bytes = Vec::new();
        let read = io::stdin().take(task.length).read_to_end(&mut bytes);
        match read.map(|_| Document::read(bytes)) {
            Ok(Ok(document)) => tell(&document, task.wanted),
            Ok(Err(refusal)) => refused(refusal),
            Err(_) => refused(Refusal::Failed),
        }
    });
    match reading {
        Ok(reading) => reading.join().unwrap_or_else(|_| refused(Refusal::Failed)),
        Err(_) => refused(Refusal::Memory),
    }
}

fn tell(document: &Document, wanted: Wanted) -> (Answer, Option<Pixmap>) {
    let index = |number: u64| usize::try_from(number).unwrap_or(usize::MAX);
    match wanted {
        Wanted::Sizes { first, most } => {
            let pages = (index(first)..document.count()).take(index(most));
            let sizes = pages.filter_map(|page| document.size(page)).collect();
            let count = document.count() as u64;
            (Answer::Sizes { count, sizes }, None)
        }
        Wanted::Picture { page, dpi, size } => match document.draw(index(page), dpi as f64, size) {
            Some(Drawn { pixels, notes }) => (Answer::Picture(notes), Some(pixels)),
            None => refused(Refusal::Failed),
        },
    }
}

fn write(answer: &Answer, picture: Option<&Pixmap>) -> io::Result<()> {
    let mut out = BufWriter::with_capacity(1 << 16, io::stdout().lock());
    out.write_all(answer.to_line().as_bytes())?;
    // Opaque, so that nothing has to be divided by its opacity.
    let pixels = picture.map_or(&[][..], Pixmap::data_as_u8_slice);
    for [red, green, blue, _] in pixels.as_chunks::<4>().0 {
        out.write_all(&[*red, *green, *blue])?;
    }
    out.flush()
}

//! What the process that reads a plan is asked, and how it answers: in words, which are checked on either side.
use std::{
    collections::BTreeSet,
    fmt::{self, Write},
    str::FromStr,
};

/// The first argument of that process.
pub(super) const TASK: &str = "draw-plan-page";

/// The word that an answer begins with: another program would not say it.
const GREETING: &str = "tickstrip-plan";

/// Longest answer before the pixels, bytes: the pages that are listed need some 10,000.
pub(super) const LONGEST_ANSWER: usize = 1 << 16;

/// What is asked, and what may be taken for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Task {
    /// Bytes of the file, which is the standard input.
    pub length: u64,
    /// Bytes of memory that the process may take in all.
    pub memory: u64,
    /// Seconds of processor time.
    pub seconds: u64,
    /// What is to be told.
    pub wanted: Wanted,
}

/// What is to be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// How many pages there are, and the sizes of some.
    Sizes {
        /// Index of the first one.
        first: u64,
        /// At most so many.
        most: u64,
    },
    /// The pixels of a page.
    Picture {
        /// Index of the page.
        page: u64,
        /// Dots per inch.
        dpi: u64,
        /// Width and height, pixels.
        size: [u16; 2],
    },
}

impl Task {
    /// The arguments of the process, behind [`TASK`].
    pub fn to_words(self) -> Vec<String> {
        let wanted = match self.wanted {
            Wanted::Sizes { first, most } => [0, first, most, 0, 0],
            Wanted::Picture { page, dpi, size } => [1, page, dpi, size[0].into(), size[1].into()],
        };
        let numbers = [self.length, self.memory, self.seconds].into_iter();
        let numbers = numbers.chain(wanted);
        numbers.map(|number| number.to_string()).collect()
    }

    /// The task of these arguments; `None` where they are none.
    pub fn of_words(words: &[String]) -> Option<Self> {
        let numbers: Option<Vec<u64>> = words.iter().map(|word| word.parse().ok()).collect();
        let [length, memory, seconds, kind, a, b, c, d] = numbers?[..] else {
            return None;
        };
        let wanted = match kind {
            0 => Wanted::Sizes { first: a, most: b },
            1 => Wanted::Picture {
                page: a,
                dpi: b,
                size: [c.try_into().ok()?, d.try_into().ok()?],
            },
            _ => return None,
        };
        Some(Self {
            length,
            memory,
            seconds,
            wanted,
        })
    }
}

/// What is answered before any pixels.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Answer {
    /// The pages.
    Sizes {
        /// How many there are.
        count: u64,
        /// Width and height of those that were asked for, points, as they are seen.
        sizes: Vec<[f64; 2]>,
    },
    /// Pixels follow: red, green and blue, row by row.
    Picture(BTreeSet<Note>),
    /// There is nothing to tell.
    Refused(Refusal),
}

/// Words and what they stand for.
macro_rules! words {
    ($(#[$doc:meta])* $type:ident { $($(#[$of:meta])* $name:ident = $word:literal,)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        #[non_exhaustive]
        pub enum $type { $($(#[$of])* $name,)+ }

        impl $type {
            fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)+ }
            }
        }

        impl FromStr for $type {
            type Err = ();

            fn from_str(word: &str) -> Result<Self, ()> {
                match word { $($word => Ok(Self::$name),)+ _ => Err(()) }
            }
        }
    };
}

words! {
    /// What a reader of the picture has to know.
    Note {
        /// The document lacks fonts, and its text is in other ones.
        FontsReplaced = "fonts-replaced",
        /// Text is missing.
        FontsLeftOut = "fonts-left-out",
        /// Pictures are missing.
        ImagesLeftOut = "images-left-out",
        /// Annotations are missing.
        AnnotationsLeftOut = "annotations-left-out",
        /// All is white.
        Blank = "blank",
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FontsReplaced => {
                "the PDF does not carry all of its fonts; such text stands in its place in other letters"
            }
            Self::FontsLeftOut => "text is missing, for its font cannot be read",
            Self::ImagesLeftOut => {
                "a picture on the page is missing, for it cannot be decoded; export the page as PNG if it is needed"
            }
            Self::AnnotationsLeftOut => "a note that was put on the page is missing",
            Self::Blank => "the page is white all over; see whether it is the right one",
        })
    }
}

words! {
    /// Why there is nothing to tell.
    Refusal {
        /// It has no list of pages that can be read.
        Broken = "broken",
        /// It needs a password.
        Password = "password",
        /// It is encrypted in a way that is not known.
        Encryption = "encryption",
        /// The limits of the process cannot be set.
        Unbounded = "unbounded",
        /// There is no memory to begin with.
        Memory = "memory",
        /// The reader met a case that it does not provide for.
        Failed = "failed",
    }
}

impl Answer {
    /// The answer as a line.
    pub fn to_line(&self) -> String {
        let mut line = GREETING.to_owned();
        // Writing to a string cannot fail.
        match self {
            Self::Sizes { count, sizes } => {
                _ = write!(line, " sizes {count}");
                for [width, height] in sizes {
                    _ = write!(line, " {width} {height}");
                }
            }
            Self::Picture(notes) => {
                line.push_str(" picture");
                for note in notes {
                    _ = write!(line, " {}", note.word());
                }
            }
            Self::Refused(refusal) => _ = write!(line, " refused {}", refusal.word()),
        }
        line.push('\n');
        line
    }

    /// The answer that these bytes begin with, and the bytes behind its line; `None` where they are none.
    pub fn of_bytes(bytes: &[u8]) -> Option<(Self, &[u8])> {
        let head = &bytes[..bytes.len().min(LONGEST_ANSWER)];
        let end = head.iter().position(|byte| *byte == b'\n')?;
        let mut words = std::str::from_utf8(&head[..end]).ok()?.split(' ');
        if words.next() != Some(GREETING) {
            return None;
        }
        let kind = words.next()?;
        let words: Vec<&str> = words.collect();
        let answer = match kind {
            "sizes" => {
                let (count, sides) = words.split_first()?;
                let sides: Option<Vec<f64>> = sides.iter().map(|word| side(word)).collect();
                let sides = sides?;
                let (sizes, rest) = sides.as_chunks::<2>();
                rest.is_empty().then_some(())?;
                Self::Sizes {
                    count: count.parse().ok()?,
                    sizes: sizes.to_vec(),
                }
            }
            "picture" => Self::Picture(
                words
                    .iter()
                    .map(|w| w.parse().ok())
                    .collect::<Option<_>>()?,
            ),
            "refused" => match words[..] {
                [refusal] => Self::Refused(refusal.parse().ok()?),
                _ => return None,
            },
            _ => return None,
        };
        Some((answer, &bytes[end + 1..]))
    }
}

/// A length that a page may have.
fn side(word: &str) -> Option<f64> {
    let side: f64 = word.parse().ok()?;
    (side.is_finite() && side >= 0.0).then_some(side)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tasks_come_back_from_their_words() {
        for wanted in [
            Wanted::Sizes { first: 3, most: 1 },
            Wanted::Picture {
                page: 1,
                dpi: 300,
                size: [60_000, 7],
            },
        ] {
            let task = Task {
                length: 1234,
                memory: 1 << 31,
                seconds: 60,
                wanted,
            };
            assert_eq!(Task::of_words(&task.to_words()), Some(task));
        }
        for words in ["", "1 2 3", "1 2 3 4 5 6 7 8", "1 2 3 1 0 300 70000 5"] {
            let words: Vec<String> = words.split(' ').map(str::to_owned).collect();
            assert_eq!(Task::of_words(&words), None);
        }
    }

    #[test]
    fn answers_come_back_from_their_line_and_the_pixels_stand_behind_it() {
        for answer in [
            Answer::Sizes {
                count: 3,
                sizes: vec![[595.275_59, 841.889_76], [0.1 + 0.2, 0.0]],
            },
            Answer::Picture(BTreeSet::from([Note::Blank, Note::FontsReplaced])),
            Answer::Picture(BTreeSet::new()),
            Answer::Refused(Refusal::Password),
        ] {
            let bytes = [answer.to_line().as_bytes(), b"\n\xffpixels"].concat();
            let found = Answer::of_bytes(&bytes).expect("an answer");
            assert_eq!(found, (answer, &b"\n\xffpixels"[..]));
        }
    }

    #[test]
    fn what_another_program_says_is_no_answer() {
        for line in [
            "",
            "hello\n",
            "tickstrip-plan\n",
            "tickstrip-plan sizes\n",
            "tickstrip-plan sizes 1 2\n",
            "tickstrip-plan sizes 1 nan 4\n",
            "tickstrip-plan sizes 1 -3 4\n",
            "tickstrip-plan sizes 1 1e999 4\n",
            "tickstrip-plan picture wonderful\n",
            "tickstrip-plan refused\n",
            "tickstrip-plan refused broken twice\n",
            "tickstrip-plan sizes 1 2 3",
        ] {
            assert_eq!(Answer::of_bytes(line.as_bytes()), None, "{line}");
        }
        let long = [
            b"tickstrip-plan picture".as_slice(),
            &[b' '; 1 << 17],
            b"\n",
        ]
        .concat();
        assert_eq!(Answer::of_bytes(&long), None);
    }
}

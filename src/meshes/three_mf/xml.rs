//! XML tag by tag: no document types, no entities but the predefined, and not deep.
use super::package::Pieces;
use crate::meshes::{error::Fault, format::Format, limits::DEEPEST};
use quick_xml::{
    Reader, XmlVersion,
    events::{BytesStart, Event},
};
use std::io::BufRead;

/// A tag that begins an element.
pub(super) struct Tag<'a> {
    start: BytesStart<'a>,
    /// Elements around it.
    pub(super) depth: usize,
}

impl Tag<'_> {
    /// Its name without a prefix.
    pub(super) fn name(&self) -> &str {
        self.start.local_name().into_inner()
    }

    /// The values of attributes by their names without prefixes; `None` where one is not there.
    ///
    /// # Errors
    /// What is wrong, where an attribute cannot be read.
    pub(super) fn values<const N: usize>(
        &self,
        names: [&str; N],
    ) -> Result<[Option<String>; N], String> {
        let mut values = [const { None }; N];
        for attribute in self.start.attributes().with_checks(false) {
            let attribute = attribute.map_err(|error| error.to_string())?;
            let name = attribute.key.local_name();
            if let Some(at) = names.iter().position(|wanted| *wanted == name.as_ref()) {
                let value = attribute.normalized_value(XmlVersion::Implicit1_0);
                values[at] = Some(value.map_err(|error| error.to_string())?.into_owned());
            }
        }
        Ok(values)
    }

    /// Attributes that are numbers, all of them there.
    pub(super) fn numbers<const N: usize>(&self, names: [&str; N]) -> Result<[f64; N], String> {
        let mut numbers = [f64::NAN; N];
        for attribute in self.start.attributes().with_checks(false) {
            let attribute = attribute.map_err(|error| error.to_string())?;
            let name = attribute.key.local_name();
            if let Some(at) = names.iter().position(|wanted| *wanted == name.as_ref()) {
                numbers[at] = attribute.value.trim().parse().unwrap_or(f64::NAN);
            }
        }
        match numbers.iter().position(|number| !number.is_finite()) {
            Some(bad) => Err(format!(
                "\"{}\" without a number \"{}\"",
                self.name(),
                names[bad]
            )),
            None => Ok(numbers),
        }
    }
}

/// Gives every tag of the entry `entry` to `take`, which says what is wrong with one.
pub(super) fn each_tag(
    entry: &str,
    from: &mut Pieces<&mut dyn BufRead>,
    mut take: impl FnMut(Tag<'_>) -> Result<(), Wrong>,
) -> Result<(), Fault> {
    let mut reader = Reader::from_reader(from);
    let mut buffer = Vec::new();
    let mut depth = 0;
    loop {
        buffer.clear();
        reader.get_mut().next_piece();
        let at = reader.buffer_position();
        let damaged = |found: String| {
            let place = format!("entry \"{entry}\", byte {at}");
            Fault::damaged(Format::ThreeMf, place, found)
        };
        let event = reader.read_event_into(&mut buffer);
        let (start, deeper) = match event.map_err(|error| damaged(error.to_string()))? {
            Event::Eof if depth == 0 => return Ok(()),
            Event::Eof => return Err(damaged("it ends within an element".to_owned())),
            Event::DocType(_) => {
                return Err(damaged("a document type, which 3MF forbids".to_owned()));
            }
            Event::End(_) => {
                depth = usize::saturating_sub(depth, 1);
                continue;
            }
            Event::Start(start) => (start, 1),
            Event::Empty(start) => (start, 0),
            _ => continue,
        };
        let tag = Tag { start, depth };
        take(tag).map_err(|wrong| match wrong {
            Wrong::Found(found) => damaged(found),
            Wrong::Fault(fault) => fault,
        })?;
        depth += deeper;
        if depth > DEEPEST {
            return Err(damaged(
                "elements within elements more than 64 deep".to_owned(),
            ));
        }
    }
}

/// What is wrong with a tag.
pub(super) enum Wrong {
    /// What was found there.
    Found(String),
    /// A fault that has its place.
    Fault(Fault),
}

impl From<String> for Wrong {
    fn from(found: String) -> Self {
        Self::Found(found)
    }
}

impl From<Fault> for Wrong {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

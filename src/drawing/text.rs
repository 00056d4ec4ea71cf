//! The embedded fonts, the width of a text, and texts cut or broken to a width.
//!
//! Only the embedded DejaVu faces are ever used, so that pictures do not depend on the fonts of a machine.
use crate::printable::is_command;
use std::sync::{Arc, LazyLock};
use ttf_parser::Face;

/// A face of the embedded fonts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Font {
    /// DejaVu Sans.
    #[default]
    Regular,
    /// DejaVu Sans Bold.
    Bold,
    /// DejaVu Sans Mono, for checksums.
    Mono,
}

impl Font {
    /// The face's file.
    pub(crate) fn bytes(self) -> &'static [u8] {
        match self {
            Self::Regular => dejavu::sans::regular(),
            Self::Bold => dejavu::sans::bold(),
            Self::Mono => dejavu::sans_mono::regular(),
        }
    }

    /// The family's name as SVG writes it.
    pub(crate) fn family(self) -> &'static str {
        match self {
            Self::Regular | Self::Bold => "DejaVu Sans",
            Self::Mono => "DejaVu Sans Mono",
        }
    }

    fn face(self) -> &'static Face<'static> {
        static FACES: LazyLock<[Face<'static>; 3]> = LazyLock::new(|| {
            [Font::Regular, Font::Bold, Font::Mono]
                .map(|font| Face::parse(font.bytes(), 0).expect("the embedded fonts are sound"))
        });
        &FACES[self as usize]
    }
}

/// The database of the embedded faces, shared by all pictures.
pub(crate) fn fonts() -> Arc<fontdb::Database> {
    static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
        let mut fonts = fontdb::Database::new();
        for font in [Font::Regular, Font::Bold, Font::Mono] {
            fonts.load_font_source(fontdb::Source::Binary(Arc::new(font.bytes())));
        }
        fonts.set_sans_serif_family(Font::Regular.family());
        fonts.set_monospace_family(Font::Mono.family());
        Arc::new(fonts)
    });
    FONTS.clone()
}

/// Height of a capital letter over the font size.
pub(crate) const CAPITAL_HEIGHT: f64 = 0.73;

/// Width of one line of text in the unit of `size` (the font size): the sum of the advances. Kerning, which draws pairs
/// together, is left out: the text may come out a little narrower.
pub(crate) fn width(text: &str, font: Font, size: f64) -> f64 {
    let units: u32 = text.chars().map(|c| advance(c, font)).sum();
    f64::from(units) * size / f64::from(font.face().units_per_em())
}

/// Units of the font's grid that a letter takes.
fn advance(letter: char, font: Font) -> u32 {
    let face = font.face();
    let glyph = face.glyph_index(letter).unwrap_or_default();
    u32::from(face.glyph_hor_advance(glyph).unwrap_or_default())
}

/// The text, cut to `room` with an ellipsis where it is too long; empty where not even the ellipsis fits.
pub(crate) fn shorten(text: &str, font: Font, size: f64, room: f64) -> String {
    let text = clean(text);
    if width(&text, font, size) <= room {
        return text;
    }
    // What is too wide without the ellipsis is so with it: only a few letters are left to try, however long the text.
    let most = room * f64::from(font.face().units_per_em()) / size;
    let mut units = 0;
    let fits = |c: &char| {
        units += advance(*c, font);
        f64::from(units) <= most
    };
    let mut kept: Vec<char> = text.chars().take_while(fits).collect();
    loop {
        let cut: String = kept.iter().collect::<String>().trim_end().to_owned() + "…";
        if width(&cut, font, size) <= room {
            return cut;
        }
        if kept.pop().is_none() {
            return String::new();
        }
    }
}

/// The text in lines no wider than `room`, at most `most` of them; what does not fit ends in an ellipsis.
pub(crate) fn wrap(text: &str, font: Font, size: f64, room: f64, most: usize) -> Vec<String> {
    let cleaned = clean(text);
    let mut lines: Vec<String> = Vec::new();
    for word in cleaned.split_whitespace() {
        if lines.len() >= most && lines.last().is_some_and(|l| width(l, font, size) > room) {
            // The last line is too long already: it is cut below, and nothing of what follows would show.
            break;
        }
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match longer {
            // In the last line all is gathered until it is too long.
            Some(longer) if width(&longer, font, size) <= room || lines.len() >= most => {
                *lines.last_mut().expect("there is a last line") = longer;
            }
            _ if most > 0 => lines.push(word.to_owned()),
            _ => {}
        }
    }
    lines
        .into_iter()
        .map(|line| shorten(&line, font, size, room))
        .collect()
}

/// The text in lines no wider than `room`, every letter of it: a word that is wider than a line goes on in the next one.
pub(crate) fn lines(text: &str, font: Font, size: f64, room: f64) -> Vec<String> {
    let most = room * f64::from(font.face().units_per_em()) / size;
    let space = advance(' ', font);
    let mut lines: Vec<String> = Vec::new();
    let mut used = 0;
    for word in clean(text).split_whitespace() {
        let width: u32 = word.chars().map(|c| advance(c, font)).sum();
        match lines.last_mut() {
            Some(line) if f64::from(used + space + width) <= most => {
                line.push(' ');
                line.push_str(word);
                used += space + width;
            }
            _ => {
                lines.push(String::new());
                used = 0;
                for letter in word.chars() {
                    let width = advance(letter, font);
                    if used > 0 && f64::from(used + width) > most {
                        lines.push(String::new());
                        used = 0;
                    }
                    lines.last_mut().expect("one was begun").push(letter);
                    used += width;
                }
            }
        }
    }
    lines
}

/// The text as it can be drawn on one line: control characters become spaces, what XML cannot hold and marks that turn
/// the writing direction vanish.
pub(crate) fn clean(text: &str) -> String {
    text.chars()
        .filter(|c| {
            let is_hidden = is_command(*c) && !c.is_control();
            !is_hidden && !matches!(c, '\u{fffe}' | '\u{ffff}')
        })
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_as_wide_as_the_font_says() {
        // Advance of a digit in DejaVu Sans: 1303 of 2048 units (from the font's hmtx table).
        assert!((width("07", Font::Regular, 2048.0) - 2.0 * 1303.0).abs() < 1e-9);
        assert!(width("WW", Font::Bold, 10.0) > width("WW", Font::Regular, 10.0));
        // In the monospaced face every glyph has 1233 units.
        assert!((width("iW", Font::Mono, 2048.0) - 2.0 * 1233.0).abs() < 1e-9);
    }

    #[test]
    fn a_long_name_is_cut_with_an_ellipsis_and_fits() {
        let cut = shorten("upper flange of the vessel", Font::Regular, 10.0, 60.0);
        assert!(cut.ends_with('…') && cut.starts_with("upper"), "{cut}");
        assert!(width(&cut, Font::Regular, 10.0) <= 60.0);
        assert_eq!(shorten("tank", Font::Regular, 10.0, 60.0), "tank");
        assert_eq!(shorten("tank", Font::Regular, 10.0, 1.0), "");
    }

    #[test]
    fn wrapped_lines_keep_all_words_or_end_in_an_ellipsis() {
        let text = "make the lantern narrower and then turn it a little to the left";
        let lines = wrap(text, Font::Regular, 10.0, 120.0, 9);
        assert_eq!(lines.join(" "), text);
        assert!(lines.iter().all(|l| width(l, Font::Regular, 10.0) <= 120.0));
        let two = wrap(text, Font::Regular, 10.0, 120.0, 2);
        assert_eq!(two.len(), 2);
        assert!(two[1].ends_with('…'));
        assert!(wrap(text, Font::Regular, 10.0, 120.0, 0).is_empty());
    }

    #[test]
    fn lines_keep_every_letter_and_fit_as_far_as_one_letter_can() {
        let text = "make the Donaudampfschifffahrtskapitaensmuetze narrower, then turn it";
        let broken = lines(text, Font::Regular, 10.0, 90.0);
        assert_eq!(broken.join("").replace(' ', ""), text.replace(' ', ""));
        assert!(broken.iter().all(|l| width(l, Font::Regular, 10.0) <= 90.0));
        assert_eq!(broken.len(), 5, "{broken:?}");
        let narrow = lines("WiW", Font::Regular, 10.0, 1.0);
        assert_eq!(narrow, ["W", "i", "W"]);
        assert!(lines(" \n ", Font::Regular, 10.0, 90.0).is_empty());
        let plain = "make the lantern narrower and then turn it a little to the left";
        let wrapped = wrap(plain, Font::Regular, 10.0, 120.0, 99);
        assert_eq!(lines(plain, Font::Regular, 10.0, 120.0), wrapped);
    }

    /// The longest beginning that fits with an ellipsis, tried from the longest on.
    fn slowly_shortened(text: &str, room: f64) -> String {
        let letters: Vec<char> = text.chars().collect();
        let whole = width(text, Font::Regular, 10.0) <= room;
        let cuts = (0..letters.len()).rev().map(|n| {
            let start: String = letters[..n].iter().collect();
            start.trim_end().to_owned() + "…"
        });
        let mut all = whole.then(|| text.to_owned()).into_iter().chain(cuts);
        all.find(|cut| width(cut, Font::Regular, 10.0) <= room)
            .unwrap_or_default()
    }

    #[test]
    fn long_texts_are_cut_as_if_every_length_were_tried() {
        let text = "a wide  W, an i and spaces   before the mast iiiiiiii WWWWWW";
        for room in 0..450 {
            let room = f64::from(room);
            let cut = shorten(text, Font::Regular, 10.0, room);
            assert_eq!(cut, slowly_shortened(text, room), "{room}");
            let lines = wrap(text, Font::Regular, 10.0, room, 2);
            let cleaned = text.split_whitespace().collect::<Vec<_>>().join(" ");
            let first = lines[0].trim_end_matches('…').trim_end();
            assert!(cleaned.starts_with(first), "{room}: {lines:?}");
        }
    }

    #[test]
    fn the_longest_text_of_a_job_is_wrapped_in_no_time() {
        let (sender, receiver) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let words = "ab ".repeat(3333);
            let one = "abc".repeat(3333);
            for _ in 0..40 {
                for text in [&words, &one] {
                    let lines = wrap(text, Font::Regular, 10.0, 200.0, 3);
                    assert!(lines.last().is_some_and(|l| l.ends_with('…')));
                }
            }
            sender.send(()).expect("heard");
        });
        // Well below a second; trying every length took seconds for each text.
        let limit = std::time::Duration::from_secs(60);
        receiver.recv_timeout(limit).expect("it ends");
    }

    #[test]
    fn control_characters_do_not_reach_the_picture() {
        assert_eq!(clean("a\u{0}b\tc\u{202e}d\u{ffff}"), "a b cd");
    }
}

//! What of a text from outside may be shown: no characters that command a terminal or turn what follows, no endless names.

/// Longest name in a message, characters: a judgement; it tells a name from others on one or two lines.
const LONGEST_NAME: usize = 100;

/// A name for a message, with an ellipsis in place of what is too much.
pub fn shortened(name: &str) -> String {
    match name.char_indices().nth(LONGEST_NAME) {
        Some((end, _)) => format!("{}…", &name[..end]),
        None => name.to_owned(),
    }
}

/// Names of a list that a message gives; more do not help to find the place (a judgement).
const MOST_NAMED: usize = 12;

/// Names in quotes: `"a", "b"`, and how many more there are.
pub fn listed<'a>(names: impl Iterator<Item = &'a str> + Clone) -> String {
    let count = names.clone().count();
    let named = names.take(MOST_NAMED);
    let named: Vec<String> = named.map(|n| format!("\"{}\"", shortened(n))).collect();
    let named = named.join(", ");
    match count.saturating_sub(MOST_NAMED) {
        0 => named,
        more => format!("{named} and {more} more"),
    }
}

/// Whether a character commands a terminal (C0, C1, delete), changes the direction of what follows, or is neither seen
/// nor takes room.
///
/// # Source
/// Unicode Standard Annex 9, table 4 (the directional formatting characters); what is hidden: general category Cf
/// without the two joiners and the signs that scripts write with.
pub fn is_command(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{AD}' | '\u{61C}' | '\u{180E}' | '\u{200B}' | '\u{200E}' | '\u{200F}'
            | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}'
            | '\u{1D173}'..='\u{1D17A}' | '\u{E0000}'..='\u{E007F}')
}

/// The text on one line, with a mark in place of line breaks and of every other character that is a command.
pub fn on_one_line(text: &str) -> String {
    text.replace(is_command, "\u{fffd}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_end_with_an_ellipsis_and_others_stay() {
        assert_eq!(shortened("lantern top"), "lantern top");
        let longest = "ä".repeat(LONGEST_NAME);
        assert_eq!(shortened(&longest), longest);
        let cut = shortened(&"ä".repeat(10 << 20));
        assert_eq!(cut, longest + "…");
    }

    #[test]
    fn long_lists_are_cut() {
        assert_eq!(listed(["a", "b"].into_iter()), "\"a\", \"b\"");
        let many: Vec<String> = (0..1000).map(|n| "x".repeat(n)).collect();
        let text = listed(many.iter().map(String::as_str));
        assert!(
            text.len() < 200 && text.ends_with(" and 988 more"),
            "{text}"
        );
    }

    #[test]
    fn commands_are_marked_and_letters_of_all_scripts_stay() {
        let commands = "a\u{1b}[31m\n\u{9b}2J\u{7f}\u{202e}b\u{61c}\u{2066}\u{200b}\u{feff}c";
        let marked = on_one_line(commands);
        assert_eq!(marked.matches('\u{fffd}').count(), 9, "{marked}");
        assert!(!marked.contains(is_command));
        for text in [
            "操舵",
            "שלום",
            "می\u{200c}خواهم",
            "👨\u{200d}🔧",
            "e\u{301}",
        ] {
            assert_eq!(on_one_line(text), text);
        }
    }
}

//! Counts and sentences of what a view needs.

/// "two more datum marks".
pub(super) fn counted(count: usize, what: &str) -> String {
    let number = ["no", "one", "two", "three", "four", "five", "six"];
    let number = number
        .get(count)
        .map_or(count.to_string(), |n| (*n).to_owned());
    format!("{number} {what}{}", if count == 1 { "" } else { "s" })
}

/// With a capital at its beginning.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

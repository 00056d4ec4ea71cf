//! What every text for a user has to be.

/// Fails where a text is empty or far too long.
pub fn check(what: &str, text: &str, most: usize) -> Result<(), String> {
    if text.trim().is_empty() {
        return Err(format!("a {what} without words"));
    }
    if text.len() > most {
        let start: String = text.chars().take(200).collect();
        return Err(format!("a {what} of more than {most} bytes: {start}"));
    }
    Ok(())
}

/// As [`check`], and fails where a number stands in it that is none.
pub fn check_sentence(what: &str, text: &str, most: usize) -> Result<(), String> {
    check(what, text, most)?;
    check_numbers(what, text)
}

/// Fails where a number stands in a text that is none.
pub fn check_numbers(what: &str, text: &str) -> Result<(), String> {
    let is_none = |word: &str| matches!(word, "NaN" | "inf" | "Infinity" | "infinity");
    let mut words = text.split(|c: char| !c.is_alphanumeric());
    if !words.any(is_none) {
        return Ok(());
    }
    let is_bad = |line: &&str| line.split(|c: char| !c.is_alphanumeric()).any(is_none);
    let line = text.lines().find(is_bad).unwrap_or_default();
    Err(format!("a {what} with a number that is none: {line:.300}"))
}

/// Fails where a code is not as codes are: small letters, digits and dashes.
pub fn check_code(code: &str) -> Result<(), String> {
    let is_of_code = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    match code.is_empty() || !code.chars().all(is_of_code) {
        true => Err(format!("the code {code:?}")),
        false => Ok(()),
    }
}

mod tests {
    use super::*;

    #[test]
    fn numbers_that_are_none_are_found_and_words_that_look_like_them_are_not() {
        for text in [
            "but inf px beside",
            "(F NaN, limit 3.1)",
            "±inf",
            "a\n-inf,b",
        ] {
            assert!(check_numbers("text", text).is_err(), "{text}");
        }
        for text in ["information", "infinitely small", "nan", "3.5 px", ""] {
            assert_eq!(check_numbers("text", text), Ok(()), "{text}");
        }
        assert!(check("text", " \n", 10).is_err() && check("text", "abc", 2).is_err());
        assert!(check_code("Two Words").is_err() && check_code("").is_err());
        assert_eq!(check_code("too-few-2"), Ok(()));
    }
}

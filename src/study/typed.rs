//! What somebody typed into a form, kept exactly so that the page can be shown again as it was.

use super::fault::Fault;

/// Longest text that a single-line field keeps, in characters.
pub const LINE_LIMIT: usize = 300;
/// Longest text that a several-line field keeps, in characters.
pub const TEXT_LIMIT: usize = 8_000;

/// An ordered list of field names with their raw values; names may repeat.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typed {
    pairs: Vec<(String, String)>,
}

impl Typed {
    /// From pairs in the order they were sent.
    #[must_use]
    pub fn new(pairs: Vec<(String, String)>) -> Self {
        Self { pairs }
    }

    /// The first value of a field without surrounding blanks, or an empty string.
    #[must_use]
    pub fn text(&self, name: &str) -> &str {
        self.pairs
            .iter()
            .find(|(n, _)| n == name)
            .map_or("", |(_, value)| value.trim())
    }

    /// The first value of a field untouched (passwords), or an empty string.
    #[must_use]
    pub fn raw(&self, name: &str) -> &str {
        self.pairs
            .iter()
            .find(|(n, _)| n == name)
            .map_or("", |(_, value)| value)
    }

    /// Every value of a field, trimmed, in order.
    #[must_use]
    pub fn all(&self, name: &str) -> Vec<&str> {
        self.pairs
            .iter()
            .filter(|(n, _)| n == name)
            .map(|(_, value)| value.trim())
            .collect()
    }

    /// The value at a position of a repeated field, or an empty string.
    #[must_use]
    pub fn at(&self, name: &str, position: usize) -> &str {
        self.pairs
            .iter()
            .filter(|(n, _)| n == name)
            .nth(position)
            .map_or("", |(_, value)| value.trim())
    }

    /// The value at a position of a repeated field untouched, or an empty string.
    #[must_use]
    pub fn raw_at(&self, name: &str, position: usize) -> &str {
        let mut values = self.pairs.iter().filter(|(n, _)| n == name);
        values.nth(position).map_or("", |(_, value)| value)
    }

    /// Whether the field was sent with something in it (a ticked box, a pressed button).
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        !self.text(name).is_empty()
    }

    /// Whether the field was sent with this value: how a choice among several is told.
    #[must_use]
    pub fn is(&self, name: &str, value: &str) -> bool {
        self.pairs
            .iter()
            .any(|(n, typed)| n == name && typed.trim() == value)
    }

    /// All fields in the order of the form.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.pairs
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// Adds or replaces a value: used to show a page with defaults filled in.
    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        self.pairs.retain(|(n, _)| n != name);
        self.pairs.push((name.to_owned(), value.into()));
    }

    /// Adds one more value of a repeated field.
    pub fn add(&mut self, name: &str, value: impl Into<String>) {
        self.pairs.push((name.to_owned(), value.into()));
    }

    /// A single line of text that must not be empty.
    ///
    /// # Errors
    /// A [`Fault`] naming the field when it is empty, too long or holds control characters.
    pub fn required(&self, name: &str, called: &str) -> Result<String, Fault> {
        let text = self.line(name, called)?;
        if text.is_empty() {
            return Err(Fault::new(name, format!("{called} is missing.")));
        }
        Ok(text)
    }

    /// A single line of text, possibly empty.
    ///
    /// # Errors
    /// A [`Fault`] when it is too long or holds control characters.
    pub fn line(&self, name: &str, called: &str) -> Result<String, Fault> {
        clean(name, called, self.text(name), LINE_LIMIT)
    }

    /// Several lines of text, possibly empty.
    ///
    /// # Errors
    /// A [`Fault`] when it is too long or holds control characters other than line ends.
    pub fn paragraph(&self, name: &str, called: &str) -> Result<String, Fault> {
        clean(name, called, self.text(name), TEXT_LIMIT)
    }
}

impl<const N: usize> From<[(&str, &str); N]> for Typed {
    fn from(fields: [(&str, &str); N]) -> Self {
        let owned = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
        Self::new(fields.iter().map(owned).collect())
    }
}

/// Checks a text for length and for characters that would deceive a reader.
///
/// # Errors
/// A [`Fault`] that says which rule it broke.
pub fn clean(field: &str, called: &str, text: &str, limit: usize) -> Result<String, Fault> {
    if text.chars().count() > limit {
        return Err(Fault::new(
            field,
            format!("{called} is longer than {limit} characters."),
        ));
    }
    let is_line = limit <= LINE_LIMIT;
    let is_bad = |c: char| c.is_control() && (is_line || !matches!(c, '\n' | '\r' | '\t'));
    if text.chars().any(|c| is_bad(c) || is_direction_mark(c)) {
        let sentence = format!("{called} holds invisible control characters; type it again.");
        return Err(Fault::new(field, sentence));
    }
    Ok(text.replace("\r\n", "\n"))
}

/// Characters that turn the direction of the text after them (Unicode bidirectional controls).
fn is_direction_mark(c: char) -> bool {
    matches!(c, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_typed_comes_back_untouched() {
        let typed = Typed::new(vec![("a".into(), " 1 ".into()), ("a".into(), "2".into())]);
        assert_eq!(typed.text("a"), "1");
        assert_eq!(typed.raw("a"), " 1 ");
        assert_eq!(typed.all("a"), ["1", "2"]);
        assert_eq!(typed.at("a", 1), "2");
        assert_eq!(typed.at("a", 2), "");
    }

    #[test]
    fn direction_marks_and_nul_are_named_as_a_mistake() {
        assert!(clean("q", "The question", "abc\u{202E}def", LINE_LIMIT).is_err());
        assert!(clean("q", "The question", "a\0b", TEXT_LIMIT).is_err());
        assert!(clean("q", "The question", "two\nlines", TEXT_LIMIT).is_ok());
        assert!(clean("q", "The question", "two\nlines", LINE_LIMIT).is_err());
    }
}

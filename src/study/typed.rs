//! What somebody typed, as they typed it: field names and raw strings in the order of the form.
//! Parsing into numbers, dates and codes is each type's own business; this only keeps, so that a
//! page can be shown again.

/// The ordered fields of one form, a name possibly several times.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typed(Vec<(String, String)>);

impl Typed {
    /// Keeps these fields in this order.
    pub fn new(fields: Vec<(String, String)>) -> Self {
        Self(fields)
    }

    /// The first value of this field without the blanks around it; empty when there is none.
    pub fn text(&self, name: &str) -> &str {
        self.raw(name).trim()
    }

    /// The first value exactly as typed, blanks and all (passwords, and showing a page again).
    pub fn raw(&self, name: &str) -> &str {
        self.0
            .iter()
            .find(|(field, _)| field == name)
            .map_or("", |(_, value)| value.as_str())
    }

    /// Every value of this field, trimmed, in the order of the form.
    pub fn all(&self, name: &str) -> Vec<&str> {
        let of_this_name = self.0.iter().filter(|(field, _)| field == name);
        of_this_name.map(|(_, value)| value.trim()).collect()
    }

    /// Whether the field is there at all: how a ticked box is told from an unticked one.
    pub fn has(&self, name: &str) -> bool {
        self.0.iter().any(|(field, _)| field == name)
    }

    /// Whether the field is there with this value: how a choice among several is told.
    pub fn is(&self, name: &str, value: &str) -> bool {
        self.0
            .iter()
            .any(|(field, typed)| field == name && typed.trim() == value)
    }

    /// All fields in the order of the form.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
    }
}

impl<const N: usize> From<[(&str, &str); N]> for Typed {
    fn from(fields: [(&str, &str); N]) -> Self {
        Self(
            fields
                .iter()
                .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
                .collect(),
        )
    }
}

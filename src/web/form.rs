//! Forms: what was typed comes in as raw strings and, when something is wrong, goes out again
//! exactly as it was, with a sentence beside each field. Reading it into numbers, dates and codes
//! is the business of each type's own `parse`.

use super::App;
use super::body::{self, BodyLimit};
use super::fault::WebFault;
use crate::study::fault::Faults;
use crate::study::plan::form::row_field;
use crate::study::typed::Typed;
use axum::extract::{FromRequest, Request};

/// The longest single field, in characters: a page of notes, and nobody's mistake by typing.
const LONGEST_FIELD: usize = 20_000;

const FORM: &str = "application/x-www-form-urlencoded";

/// The fields of a posted form.
#[derive(Debug, Clone)]
pub struct Fields(pub Typed);

impl FromRequest<App> for Fields {
    type Rejection = WebFault;

    async fn from_request(request: Request, _: &App) -> Result<Self, WebFault> {
        let is_form = body::is_of_kind(request.headers(), FORM);
        let limit = request
            .extensions()
            .get::<BodyLimit>()
            .copied()
            .unwrap_or_default();
        let bytes = body::whole(request.into_body(), limit).await?;
        // A form without fields may come without a kind as well.
        if !is_form && !bytes.is_empty() {
            return Err(WebFault::WrongKind(FORM));
        }
        Ok(Self(Typed::new(
            form_urlencoded::parse(&bytes).into_owned().collect(),
        )))
    }
}

impl Fields {
    /// Reads the form into what is needed, or gives it back to be shown again: first what no field
    /// may hold, then whatever `parse` finds.
    ///
    /// # Errors
    /// The form as typed, with its faults.
    pub fn read<T>(&self, parse: impl FnOnce(&Typed) -> Result<T, Faults>) -> Result<T, Form> {
        let mut faults = never_welcome(&self.0);
        if !faults.is_empty() {
            // The rest is looked at too, so that everything is said at once.
            faults.extend(parse(&self.0).err().unwrap_or_default());
            return Err(self.again(faults));
        }
        parse(&self.0).map_err(|faults| self.again(faults))
    }

    /// The form as typed, with these faults.
    pub fn again(&self, faults: Faults) -> Form {
        Form {
            typed: self.0.clone(),
            faults,
        }
    }

    /// The form as typed, with one fault.
    pub fn again_with(&self, field: &str, sentence: impl Into<String>) -> Form {
        self.again(Faults::one(field, sentence))
    }
}

/// What no field may hold, whatever it is for.
fn never_welcome(typed: &Typed) -> Faults {
    let mut faults = Faults::none();
    for (name, value) in typed.iter() {
        if value.contains('\0') {
            faults.push(
                name,
                "This holds a character that cannot be typed; type it again.",
            );
        } else if value.chars().nth(LONGEST_FIELD).is_some() {
            faults.push(
                name,
                format!("This is longer than {LONGEST_FIELD} characters."),
            );
        }
    }
    faults
}

/// A form to be shown: what stands in its fields and what is wrong with them. The macros of
/// `templates/macros/field.html` ask it.
#[derive(Debug, Clone, Default)]
pub struct Form {
    typed: Typed,
    faults: Faults,
}

impl Form {
    /// Nothing typed yet.
    pub fn blank() -> Self {
        Self::default()
    }

    /// With these values standing in it.
    pub fn filled(typed: impl Into<Typed>) -> Self {
        Self {
            typed: typed.into(),
            faults: Faults::none(),
        }
    }

    /// With something added to what stands in it: blank rows.
    pub fn completed(mut self, complete: impl FnOnce(&mut Typed)) -> Self {
        complete(&mut self.typed);
        self
    }

    /// What stands in a field, exactly as typed.
    pub fn value(&self, name: &str) -> &str {
        self.typed.raw(name)
    }

    /// What stands in a row (from 0) of a repeated field, exactly as typed.
    pub fn value_at(&self, name: &str, row: usize) -> &str {
        self.typed.raw_at(name, row)
    }

    /// The name under which a field of a row (from 0) has its fault and its place on the page.
    pub fn row_id(&self, name: &str, row: usize) -> String {
        row_field(name, row)
    }

    /// Whether this choice of a field is taken.
    pub fn is(&self, name: &str, value: &str) -> bool {
        self.typed.is(name, value)
    }

    /// Whether a box is ticked.
    pub fn has(&self, name: &str) -> bool {
        self.typed.has(name)
    }

    /// What is wrong with a field.
    pub fn fault(&self, name: &str) -> Option<&str> {
        self.faults.for_field(name)
    }

    /// Whether the cursor belongs in this field: the first with a fault.
    pub fn is_first(&self, name: &str) -> bool {
        self.faults.is_first(name)
    }

    /// Whether nothing is wrong, so that the page may choose where the cursor goes.
    pub fn is_faultless(&self) -> bool {
        self.faults.is_empty()
    }

    /// Whether nothing is wrong but a doubt to be confirmed.
    pub fn only_asks(&self) -> bool {
        !self.faults.is_empty() && self.faults.iter().all(|fault| fault.field == "confirmed")
    }

    /// Everything wrong, for the summary at the top.
    pub fn faults(&self) -> &Faults {
        &self.faults
    }

    /// What was typed.
    pub fn typed(&self) -> &Typed {
        &self.typed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_field_may_hold_is_said_beside_what_the_form_itself_finds() {
        let fields = Fields(Typed::from([("note", "a\0b"), ("mass", "x")]));
        let parse = |_: &Typed| Err::<(), _>(Faults::one("mass", "Not a number."));
        let form = fields.read(parse).expect_err("two faults");
        assert!(form.fault("note").is_some() && form.fault("mass").is_some());
        assert_eq!(form.value("note"), "a\0b", "shown again exactly as typed");
        let long = "ü".repeat(LONGEST_FIELD);
        let fits = Fields(Typed::from([("note", long.as_str())]));
        assert!(fits.read(|_| Ok(())).is_ok());
    }
}

//! What a new account needs: a name to sign in with, a name that others see, a password. The same
//! rules for the first-run page and for the command line.

use crate::study::fault::Faults;
use crate::study::typed::Typed;

/// The shortest password taken, in characters. Common practice, no source.
const SHORTEST: usize = 12;
/// The longest taken, in bytes: what nobody types and hashing would still do at once.
const LONGEST: usize = 1000;

/// Who an account is for.
pub(crate) struct Person {
    /// What is typed to sign in.
    pub(crate) name: String,
    /// What others see.
    pub(crate) display_name: String,
}

impl Person {
    /// Reads `name` and `display_name`, and notes what is wrong with them.
    pub(crate) fn parse(typed: &Typed, faults: &mut Faults) -> Self {
        let name = typed.text("name").to_lowercase();
        let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || ".-_".contains(c);
        if !(2..=40).contains(&name.len()) || !name.chars().all(fits) {
            let sentence = "A sign-in name has 2 to 40 letters a–z, digits, dots, hyphens or \
                            underscores.";
            faults.push("name", sentence);
        }
        let display_name = typed.text("display_name");
        if !(1..=100).contains(&display_name.chars().count()) {
            faults.push(
                "display_name",
                "Type the name that others see, up to 100 characters.",
            );
        }
        Self {
            name,
            display_name: display_name.to_owned(),
        }
    }
}

/// Notes what is wrong with a new password, under the field's name.
pub(crate) fn check_password(password: &str, field: &str, faults: &mut Faults) {
    if password.chars().count() < SHORTEST {
        faults.push(
            field,
            format!("Choose a password of at least {SHORTEST} characters."),
        );
    } else if password.len() > LONGEST {
        faults.push(
            field,
            format!("A password may take at most {LONGEST} bytes."),
        );
    }
}

//! One macro for every closed list that forms offer: its key (as stored and sent) and its words.

/// Makes an enum with `ALL` (in the order of forms), `key`, `label`, `parse` and serde by key.
macro_rules! choice {
    ($(#[$doc:meta])* pub enum $name:ident { $($(#[$vdoc:meta])* $variant:ident = $key:literal, $label:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $key)] $variant,)+
        }

        impl $name {
            /// Every value, in the order of forms.
            pub const ALL: [Self; [$($key),+].len()] = [$(Self::$variant),+];

            /// As stored and sent.
            #[must_use]
            pub fn key(self) -> &'static str {
                match self { $(Self::$variant => $key,)+ }
            }

            /// In words.
            #[must_use]
            pub fn label(self) -> &'static str {
                match self { $(Self::$variant => $label,)+ }
            }

            /// Reads the key.
            #[must_use]
            pub fn parse(key: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|value| value.key() == key)
            }

            /// Reads the key typed into a form field.
            ///
            /// # Errors
            /// A fault that names the field and lists what would do.
            pub fn typed(field: &str, called: &str, key: &str) -> Result<Self, crate::study::fault::Fault> {
                Self::parse(key).ok_or_else(|| {
                    let offered = Self::ALL.map(Self::label).join(", ");
                    crate::study::fault::Fault::new(field, format!("{called} must be one of: {offered}."))
                })
            }
        }
    };
}

pub(crate) use choice;

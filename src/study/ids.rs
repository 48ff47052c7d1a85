//! Every id type, made by one macro. The device that records something chooses the id (UUIDv7).

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! id_type {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Uuid::parse_str(text).map(Self)
            }
        }
    };
}

id_type!(
    /// A study.
    StudyId
);
id_type!(
    /// A journal entry; the device gives it (UUIDv7), so that sending it again makes no second one.
    EntryId
);
id_type!(
    /// A person's account; the person's name stays outside the journal.
    AccountId
);
id_type!(
    /// A lab link; the secret itself is stored hashed, outside the journal.
    LinkId
);
id_type!(
    /// A consignment: one shipment to one lab.
    ConsignmentId
);
id_type!(
    /// A balance, calliper, micrometer or other instrument of a study.
    InstrumentId
);

//! SQLite: the only room with SQL. Reading order: `open` (the folder, its lock, the connections and
//! their pragmas), `house` (what is written outside the journal), `read/` (the questions pages ask,
//! one file per noun), `backup`.
//!
//! Outside the journal, so that nothing here is rebuilt from it: accounts, sessions, the secrets of
//! lab links, blobs, what devices said of themselves, calendar addresses, reminders and where they go,
//! machines' files that wait, tokens of the machine interface.

mod apply;
pub mod backup;
mod blob;
mod calendar;
mod curve_file;
mod device;
mod error;
mod house;
mod journal;
mod kept;
mod moment;
mod open;
pub mod read;
mod reminder;
mod replay;
mod rows;
mod server_chain;
mod standing;
mod study_file;
mod token;
mod turn;
pub mod verify;
mod weather;
mod wish;
mod writer;

pub use blob::{Blob, MAX_BLOB_BYTES};
pub use calendar::CalendarFeed;
pub use curve_file::CurveFile;
pub use device::{Device, Said, SetAside};
pub use error::StoreError;
pub use house::{AddAccount, NewAccount, NewSession};
pub use moment::{moment_from_text, moment_to_text};
pub use open::{DATABASE_FILE, Hold, OpenError, Store};
pub use reminder::{Channel, Message, MessageState, NewMessage};
pub use study_file::{FromFile, StudyFile};
pub use token::{Maker, NewToken, TokenRow};
pub use turn::{Turn, Turns};
pub use weather::{KeptAnswer, sha256_of};
pub use wish::Wish;
pub use writer::{Answer, Journal, NotTaken, Room};

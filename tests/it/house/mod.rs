//! What the tests share: a server in this process (`server`), the real binary as a child
//! (`child`), a study on its steward's desk (`desk`), the people who use it (`people`), a browser (`browser`),
//! a line to it that can be cut (`line`), a steward's
//! phone on such a line (`phone`).

pub mod axe;
pub mod bench;
pub mod browser;
pub mod camera;
pub mod child;
pub mod desk;
pub mod half;
pub mod html;
pub mod ical;
pub mod line;
pub mod mail;
pub mod parcel;
pub mod people;
pub mod phone;
pub mod program;
pub mod ready;
pub mod server;
pub mod sheet;
pub mod standin;
pub mod told;
pub mod visit;

pub use browser::{Browser, Look};
pub use child::{ChildServer, overwinter};
pub use line::Line;
pub use people::{Person, Shown};
pub use phone::Phone;
pub use program::Program;
pub use server::TestServer;
pub use sheet::Sheet;
pub use visit::Visit;

use sqlx::{ConnectOptions, Connection};
use std::path::Path;

/// The password of every account that a test makes.
pub const PASSWORD: &str = "correct horse battery";

/// Runs one statement on a database file, past the program: how a test damages something.
pub async fn run_sql(database: &Path, sql: &'static str) {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(database);
    let mut connection = options.connect().await.expect("the database opens");
    sqlx::query(sql)
        .execute(&mut connection)
        .await
        .expect("the statement runs");
    connection.close().await.expect("the database closes");
}

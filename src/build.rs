//! Tells cargo that the migrations and templates are part of the program: without this line a new
//! migration file is not seen by `sqlx::migrate!` until something else changes.

fn main() {
    println!("cargo:rerun-if-changed=migrations");
}

//! The table of tests: one binary, a module per promise, page or flow. `house` holds what they
//! share: the server, the people, the browser.
#![expect(
    clippy::unwrap_used,
    reason = "a test says what failed by failing there"
)]
#![expect(
    clippy::expect_used,
    reason = "as above, with a word about what was expected"
)]
#![expect(clippy::panic, reason = "assertions with a sentence of their own")]
#![expect(clippy::indexing_slicing, reason = "a missing element fails the test")]

mod house;

/// Promise 2: nothing is overwritten; whatever was changed is found.
mod promise_append_only;
/// Promise 4: what was acknowledged is on disk.
mod promise_durable;
/// Promise 4 against the real binary: killed, and on a disk whose fsync fails.
mod promise_killed;
/// Promise 3: nothing is recorded twice.
mod promise_once_only;

/// Every form comes back as it was typed, whatever was typed.
mod hostile_forms;
/// Who may do what: every route of the table against everybody.
mod routes;
/// Nothing inline, nothing from elsewhere, no form from another site, no secret without TLS.
mod web_safety;

/// One's own password and devices.
mod account;
/// The first account is made by whoever reads the terminal, once.
mod first_run;
/// The way in from a lab link.
mod lab_door;
/// From opening a study to its seal: the steward's pages about the plan.
mod steward_plan;
/// From the bench to the seal: allocation, grouping, seal, stewards.
mod steward_seal;
mod zz_shots;

/// Signing in, being slowed, signing out, losing an account.
mod sign_in;

/// A copy while the server runs, and putting it back.
mod backup;
/// Files by their content.
mod blob;
/// The keeper's commands against the real binary: locks, versions, accounts, health, stopping.
mod keeper;

/// The house's pages in a real browser: phone and desk, light and dark, keyboard, no script.
mod browser_house;

/// The container's description.
mod compose;
/// The rules of the code itself.
mod layering;

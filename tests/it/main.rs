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

/// Promise 5: the tester is blind, and the world with them.
mod blind;
/// Many readers: answers from memory, never of yesterday.
mod crowd;
/// The steward's phone without a network: pages, rounds, mending, sign-ins, clocks.
mod offline;
/// The same for putting out, taking in and drying, and each mend of what was refused.
mod offline_year;
/// Promise 2: nothing is overwritten; whatever was changed is found.
mod promise_append_only;
/// Promise 4: what was acknowledged is on disk.
mod promise_durable;
/// Promise 4 against the real binary: killed, and on a disk whose fsync fails.
mod promise_killed;
/// Promise 3: nothing is recorded twice.
mod promise_once_only;
/// What a phone recorded arrives exactly once, whatever happens between.
mod promise_outbox;

/// Every page by an engine for accessibility that is not ours.
mod accessible;
/// A year at the desk with Tab, Enter and Space alone.
mod keyboard;
/// The interface for programs: tokens, problems, entries, its description, hostile requests.
mod machine;
/// The examples of its page, run as they are printed.
mod machine_examples;
/// The tester's side by machine: slips asked about, the lab's record, the parcel.
mod machine_lab;

/// The same for a study's desk, its forms taken off its pages.
mod hostile_desk;
/// Every form comes back as it was typed, whatever was typed.
mod hostile_forms;
/// The same for the lab's forms and the steward's consignments.
mod hostile_lab;
/// The same for the forms about pieces.
mod hostile_pieces;
/// Figures that others published, with their citations.
mod literature;
/// The public page on every screen, on paper and without scripts; all pages by a checker of HTML.
mod public_page;
/// Who may do what: every route of the table against everybody.
mod routes;
/// Nothing inline, nothing from elsewhere, no form from another site, no secret without TLS.
mod web_safety;
/// The same on a study that is really there, for everybody who may or may not look at it.
mod who_may;

/// One's own password and devices.
mod account;
/// The steward's consignments: packing, sheets, links, unblinding.
mod consignments;
/// What was sent and what arrived, and the chain of custody as one line of dates.
mod custody;
/// What is due: the desk's front page and the secret calendar, across clock changes.
mod due;
/// The first account is made by whoever reads the terminal, once.
mod first_run;
/// The tester's page in a real browser, by keyboard only.
mod lab_browser;
/// The machine's files: sent, put right, kept, compared.
mod lab_curves;
/// The way in from a lab link.
mod lab_door;
/// The tester's whole path.
mod lab_flow;
/// Results out of a spreadsheet: understood, shown, stored row by row.
mod lab_grid;
/// The whole of it on a phone by keyboard, every page without fault.
mod lab_keyboard;
/// A curve and a section give properties, each with its uncertainty.
mod lab_properties;
/// The lab's own record: there again for the next consignment, flagged, never in the way.
mod lab_record;
/// A folder of curves over a line that breaks.
mod lab_upload;
/// Labels and marks: read back by another decoder, placed to the millimetre.
mod labels;
/// Reminders: said once, tried again, taken; over a kill; into no private network.
mod reminders;
/// Invalid tests repeated on spares, by the plan's rule.
mod retests;
/// From opening a study to its seal: the steward's pages about the plan.
mod steward_plan;
/// From the bench to the seal: allocation, grouping, seal, stewards.
mod steward_seal;
/// From a spreadsheet to a study entered after the fact.
mod study_brought;

/// The demo by its real binary: what it prints, and everything that can be reached from there.
mod demo_shown;
/// The whole job once through, by keeper, steward, tester and reader.
mod whole_job;
/// The same in a browser: the round on a phone, the tester's keyboard, the page without scripts.
mod whole_job_browser;

/// Photographs: nothing but the picture is kept, nothing is public that breaks the blind.
mod photographs;
/// The same from a phone, with the camera's file made smaller on it.
mod photographs_browser;
/// Signing in, being slowed, signing out, losing an account.
mod sign_in;

/// The exposure record: logger files read, put right and turned into doses.
mod environment;
/// Drying to constant mass: the final mass waits for it, or for a reason.
mod steward_drying;
/// Out, watched, in: nothing unmeasured, slips of the pen asked about, nothing lost silently.
mod steward_exposure;
/// The measuring round: one number at a time, checked, never overwritten.
mod steward_round;
/// Instruments, specimens and their codes; what stays hidden of a blind consignment.
mod steward_specimens;
/// A weather archive that errs, delays, talks nonsense, sends on and has no end.
mod weather;

/// A copy while the server runs, and putting it back.
mod backup;
/// Files by their content.
mod blob;
/// The keeper's commands against the real binary: locks, versions, accounts, health, stopping.
mod keeper;

/// The house's pages in a real browser: phone and desk, light and dark, keyboard, no script.
mod browser_house;
/// The measuring round at 390 px by keyboard alone, and every page about pieces in every look.
mod browser_round;

/// `analyse` and `plan` by the real binary: an edition's file, wrong files, the page, the exit codes.
mod analyse_file;
/// Three whole studies against numpy, scipy and statsmodels.
mod analyse_studies;
/// An edition's archive, checked by tools that are not ours.
mod archive;
/// The testing machines' files in it.
mod archive_curves;
/// Flags of instruments on an edition, and the answer without the flagged values.
mod edition_flags;
/// Editions beside each other, their feeds and pictures, and what they say of themselves to programs.
mod editions;

/// The findings' JSON against its published schema.
mod findings_schema;

/// Machine files of many dialects, whole and mauled.
mod curve_files;
/// Curves whose properties are known from a formula.
mod curve_known;
/// What the fuzzer kept goes through every reader.
mod fuzz_corpus;
/// Small files that unpack to much, and how little memory they get.
mod reader_memory;

/// The container's description.
mod compose;
/// The rules of the code itself.
mod layering;

//! Findings → what people see: tables, figures, words in order, downloads, frozen editions.
//!
//! In reading order: numbers and dates as printed ([`mod@format`]), tables ([`tables`],
//! [`alternatives`]), sentences as set ([`runs`], [`answer`]), figures as
//! geometry ([`chart`], [`figures`]), the method and what deviated from it ([`method`],
//! [`deviations`], [`instruments`]), the conduct ([`conduct`]), files to download ([`download`], [`custody`],
//! all of them in one archive: [`mod@package`]), the page ([`page`], [`fit`]) and the edition that is
//! frozen ([`edition`]); labels to print ([`label`]), photographs ([`mod@photograph`]), the curve of a
//! drying piece ([`drying`]), what it was like out there ([`mod@climate`]) and what is due as a calendar
//! ([`calendar`]); an edition's words about itself ([`about`]), against the last one ([`changes`]), as a
//! picture ([`share`]) and in a feed ([`feed`]); the page before there are results is [`progress`]. Findings of a single file are shown
//! by [`file_page`] and on a [`terminal`]; how many pieces are needed by [`sizing`].
//!
//! Nothing here computes a statistic, and nothing here may be shown that [`crate::analysis`] did not
//! release: of pieces that are still blind only counts arrive.

pub mod about;
pub mod alternatives;
pub mod answer;
pub mod calendar;
pub mod changes;
pub mod chart;
pub mod climate;
pub mod conduct;
pub mod custody;
pub mod design;
pub mod deviations;
pub mod download;
pub mod drying;
pub mod edition;
pub mod export;
pub mod feed;
pub mod figures;
pub mod file_page;
pub mod fit;
pub mod format;
mod hidden;
pub mod instruments;
pub mod label;
pub mod method;
pub mod package;
pub mod page;
pub mod photograph;
pub mod progress;
pub mod runs;
pub mod share;
pub mod sizing;
pub mod tables;
pub mod terminal;

#[cfg(test)]
mod tests;

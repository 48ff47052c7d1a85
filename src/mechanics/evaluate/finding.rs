//! What is odd about a curve, in words.

use std::fmt;

/// Something that a reader of the curve should know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finding {
    /// The loads of the file were below zero.
    Turned,
    /// Stray single readings, left out; how many.
    Spikes(usize),
    /// The curve starts at this load, N.
    StartsLoaded(f64),
    /// The curve starts at this load below zero, N.
    StartsBelowZero(f64),
    /// After the break the load stays at this value, N.
    ZeroMoved(f64),
    /// Slack before the piece carried load, mm.
    Slack(f64),
    /// The load fell suddenly by this percentage of the maximum and came back.
    Slip(f64),
    /// It fell so several times, as in a grip that slips; how often.
    SawTeeth(usize),
    /// The load fell suddenly by this percentage of the maximum and went on from there.
    PartialFall(f64),
    /// No sudden fall: the load sank below the share that ends the test.
    Opened,
    /// The record ends at its highest load.
    EndsAtHighest,
    /// The record ends at this percentage of the maximum load, before the load fell.
    EndsBefore(f64),
    /// Few points up to the peak; how many.
    Sparse(usize),
    /// One step of the display is this percentage of the maximum load.
    Coarse(f64),
    /// Noise, in percent of the maximum load.
    Noisy(f64),
    /// Travel runs backwards on the way to the end.
    TravelBack,
    /// The extensometer was taken off or stopped before the end.
    ExtensometerOff,
    /// An extensometer's change of length without a gauge length.
    GaugeMissing,
    /// No travel: energies and extensions cannot be known.
    NoTravel,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Turned => f.write_str("The file has loads below zero, as compression is drawn: all signs were turned."),
            Self::Spikes(1) => f.write_str("One single reading stands far out from its neighbours; it was left out."),
            Self::Spikes(count) => write!(f, "{count} single readings stand far out from their neighbours; they were left out."),
            Self::StartsLoaded(n) => write!(f, "The curve starts at {n:.3} N: a preload, or a zero that was not set. Loads are counted from the machine's zero; the energy of the preload is missing."),
            Self::StartsBelowZero(n) => write!(f, "The curve starts at {n:.3} N, below zero: the zero may have been set with the fixture's weight on it. Loads are counted from the machine's zero."),
            Self::ZeroMoved(n) => write!(f, "After the break the load stays at {n:.3} N: the zero moved, or the piece still held."),
            Self::Slack(mm) => write!(f, "Slack of {mm:.3} mm before the piece carried load; extensions are counted from where its straight part begins."),
            Self::Slip(percent) => write!(f, "The load fell suddenly by {percent:.1} % of the maximum and came back: a slip, or a part that gave way."),
            Self::SawTeeth(count) => write!(f, "The load fell suddenly and came back {count} times, as in a grip that slips. Was the test valid?"),
            Self::PartialFall(percent) => write!(f, "The load fell suddenly by {percent:.1} % of the maximum and went on from there."),
            Self::Opened => f.write_str("The load sank without a sudden fall; the end is where it stayed below the share of the maximum that ends a test."),
            Self::EndsAtHighest => f.write_str("The record ends at its highest load: either it stopped at the break, or it was cut short and the piece carried at least this load."),
            Self::EndsBefore(percent) => write!(f, "The record ends at {percent:.0} % of the maximum load, before a fall; its last point was taken as the end."),
            Self::Sparse(points) => write!(f, "Only {points} points up to the maximum: its true height may lie between two of them."),
            Self::Coarse(percent) => write!(f, "One step of the load display is {percent:.2} % of the maximum load."),
            Self::Noisy(percent) => write!(f, "The load is noisy: its standard deviation is {percent:.2} % of the maximum, and the maximum is read high by as much or more."),
            Self::TravelBack => f.write_str("The travel runs backwards on the way: an unloading, or two tests in one file."),
            Self::ExtensometerOff => f.write_str("The extensometer was taken off or stood still before the end: strains after that are from the travel of the grips, or not given."),
            Self::GaugeMissing => f.write_str("The file has an extensometer's change of length, but the plan names no gauge length: no strain was made of it."),
            Self::NoTravel => f.write_str("The file has no travel: extensions and energies are not known."),
        }
    }
}

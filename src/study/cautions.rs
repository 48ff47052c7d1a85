//! The usual cautions of steps that can hurt someone, each as one sentence. Common practice, no
//! source; the pages that show them add that local rules and licensed practice come first.

/// Before pieces are broken.
#[must_use]
pub fn breaking() -> &'static [&'static str] {
    &[
        "Wear safety glasses and stand behind a screen or to the side: brittle pieces throw fragments.",
        "Long or springy pieces store energy and let go of it at once; keep hands clear while loaded.",
        "Set the limit stops before the first piece, and stop the machine before reaching into it.",
        "Tether hooks and fixtures. Under dead weights keep feet clear and use a catch box.",
        "No home-made rig over or under people.",
        "Collect the fragments; they do not belong in the drain or outdoors.",
    ]
}

/// Before a parcel leaves.
#[must_use]
pub fn shipping() -> &'static [&'static str] {
    &[
        "Clean off all soil and growth: plant-health rules forbid sending it, and stains tell the tester \
         what a piece went through.",
        "Declare solvents and batteries (loggers); many carriers refuse them.",
        "Keep the parcel out of heat: in a van some plastics soften at 55 to 60 °C.",
        "One stiff sleeve for each piece: a piece broken in the post is lost to the study.",
        "Gloves and washed hands for pieces that were in soil, compost or standing water.",
    ]
}

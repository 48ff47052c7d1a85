//! The part of the form about drying. A figure that is left empty is the rule's usual one; figures of
//! other rules than the chosen one are not looked at.

use super::{or_default, within};
use crate::study::fault::Faults;
use crate::study::plan::{DryingKind, DryingPlan, DryingRule};
use crate::study::typed::Typed;
use crate::study::units::{positive, whole};

/// The fields with figures.
pub(super) const FIGURES: [&str; 5] = [
    "drying_share",
    "drying_days",
    "drying_apart",
    "drying_divisor",
    "drying_percent",
];

/// `Some(None)` for a plan without a drying round, `None` when something is wrong.
pub(super) fn read(typed: &Typed, faults: &mut Faults) -> Option<Option<DryingPlan>> {
    let kind = or_default(typed.text("drying"), "none");
    let kind = faults.keep(DryingKind::typed("drying", "Drying", kind))?;
    let figures = Figures { typed };
    let rule = match kind {
        DryingKind::None => return Some(None),
        DryingKind::ConstantMass => {
            let share =
                figures.percent("drying_share", "The share of the second half", "10", faults);
            let days = figures.count("drying_days", "The drying time", "7", 730, faults);
            let apart = figures.count(
                "drying_apart",
                "The time between weighings",
                "24",
                720,
                faults,
            );
            let divisor = typed.text("drying_divisor");
            let divisor = positive("drying_divisor", "The divisor", or_default(divisor, "10"));
            let divisor = divisor.and_then(|d| within("drying_divisor", d, 1.0, 1000.0));
            let divisor = faults.keep(divisor);
            DryingRule::ConstantMass {
                share_percent: share?,
                days: days?,
                apart_hours: apart?,
                divisor: divisor?,
            }
        }
        DryingKind::RoomDry => DryingRule::RoomDry {
            days: figures.count("drying_days", "The drying time", "14", 730, faults)?,
        },
        DryingKind::ThreeWeighings => {
            let apart = figures.count(
                "drying_apart",
                "The time between weighings",
                "24",
                720,
                faults,
            );
            let percent =
                figures.percent("drying_percent", "The largest difference", "0.1", faults);
            DryingRule::ThreeWeighings {
                apart_hours: apart?,
                percent: percent?,
            }
        }
    };
    Some(Some(DryingPlan {
        rule,
        is_before_too: typed.has("drying_before"),
    }))
}

struct Figures<'t> {
    typed: &'t Typed,
}

impl Figures<'_> {
    fn count(
        &self,
        field: &str,
        called: &str,
        usual: &str,
        most: u32,
        faults: &mut Faults,
    ) -> Option<u32> {
        let text = or_default(self.typed.text(field), usual);
        faults.keep(whole(field, called, text, 1, most))
    }

    fn percent(&self, field: &str, called: &str, usual: &str, faults: &mut Faults) -> Option<f64> {
        let text = or_default(self.typed.text(field), usual);
        let value = positive(field, called, text);
        faults.keep(value.and_then(|value| within(field, value, 0.001, 50.0)))
    }
}

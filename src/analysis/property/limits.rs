//! What the machine behind a result may be off: the classes in the lab's own record, or, where it names
//! none, an assumption that is told beside the result.

use super::ASSUMED;
use crate::mechanics::uncertainty::{Extension, Machine};
use crate::study::break_test::TestSession;
use crate::study::equipment::EquipmentKind;
use crate::study::equipment::flag::used_in;
use crate::study::record::EquipmentRecord;
use crate::study::units::in_digits;

/// The limits of a session's machine and whose they are.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The limits.
    pub machine: Machine,
    /// The item whose class the force has; `None` where it is assumed.
    pub force_of: Option<String>,
    /// The item whose class the extension has; `None` where it is assumed.
    pub extension_of: Option<String>,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            machine: ASSUMED,
            force_of: None,
            extension_of: None,
        }
    }
}

impl Limits {
    /// By the items that a session uses, each as it stood on the day: the force by the cell, or by the
    /// machine where no cell is named; the extension by the extensometer.
    #[must_use]
    pub fn of(session: Option<&TestSession>, all: &[EquipmentRecord]) -> Self {
        let used = session.map(|session| used_in(session, all));
        let used = used.unwrap_or_default();
        let items = used.iter().map(|one| &one.equipment);
        let items = items.map(|it| (it.kind, it.name.as_str(), it.class_percent()));
        Self::of_items(&items.collect::<Vec<_>>())
    }

    /// By items with what their classes let them be off, in %.
    #[must_use]
    pub fn of_items(items: &[(EquipmentKind, &str, Option<f64>)]) -> Self {
        let mut limits = Self::default();
        let item = |kind: EquipmentKind| {
            let (_, name, percent) = items.iter().find(|(of, _, _)| *of == kind)?;
            Some(((*name).to_owned(), *percent))
        };
        let force = item(EquipmentKind::LoadCell).or_else(|| item(EquipmentKind::Machine));
        if let Some((name, Some(percent))) = force {
            limits.machine.force_percent = percent;
            limits.force_of = Some(name);
        }
        if let Some((name, Some(percent))) = item(EquipmentKind::Extensometer) {
            limits.machine.extension = Extension::of_class(percent);
            limits.extension_of = Some(name);
        }
        limits
    }

    /// `force within ±0.5 % (the class of small cell), extension within ±1 % or ±3 µm, whichever is greater
    /// (assumed: no class is on record)`
    #[must_use]
    pub fn in_words(&self) -> String {
        let whose = |of: Option<&String>| {
            of.map_or_else(
                || "assumed: no class is on record".to_owned(),
                |name| format!("the class of {name}"),
            )
        };
        let machine = self.machine;
        let force = format!(
            "force within ±{} % ({})",
            machine.force_percent,
            whose(self.force_of.as_ref())
        );
        let extension = format!(
            "extension within {} ({})",
            either(machine.extension),
            whose(self.extension_of.as_ref())
        );
        // An extensometer's class says nothing of the grips.
        let travel = match self.extension_of {
            Some(_) => format!(
                ", travel of the grips within {} (assumed)",
                either(machine.travel)
            ),
            None => String::new(),
        };
        format!("{force}, {extension}{travel}")
    }
}

fn either(of: Extension) -> String {
    let micrometres = in_digits(1000.0 * of.least_mm, 3);
    format!(
        "±{} % or ±{micrometres} µm, whichever is greater",
        of.percent
    )
}

//! What the machine behind a result may be off: the classes in the lab's own record, or, where it names
//! none, an assumption that is told beside the result.

use super::ASSUMED;
use crate::mechanics::uncertainty::Machine;
use crate::study::break_test::TestSession;
use crate::study::equipment::EquipmentKind;
use crate::study::equipment::flag::used_in;
use crate::study::record::EquipmentRecord;

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
            limits.machine.extension_percent = percent;
            limits.extension_of = Some(name);
        }
        limits
    }

    /// `force within ±0.5 % (the class of small cell), extension within ±1 % (assumed: no class is on record)`
    #[must_use]
    pub fn in_words(&self) -> String {
        let one = |what: &str, percent: f64, of: Option<&String>| {
            let whose = of.map_or_else(
                || "assumed: no class is on record".to_owned(),
                |name| format!("the class of {name}"),
            );
            format!("{what} within ±{percent} % ({whose})")
        };
        let machine = self.machine;
        format!(
            "{}, {}",
            one("force", machine.force_percent, self.force_of.as_ref()),
            one(
                "extension",
                machine.extension_percent,
                self.extension_of.as_ref()
            )
        )
    }
}

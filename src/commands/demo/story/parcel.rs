//! The story of the parcels: sealed, opened by the lab, and what the lab works with, written down once.

use super::*;
use crate::study::equipment::{Equipment, EquipmentKept, EquipmentKind};
use crate::study::receipt::{ParcelReceipt, SealState};

impl Story {
    /// The tester opens the parcel; at the first one the lab's record is written down, later ones go to
    /// the same lab.
    pub(super) async fn open_parcel(&mut self, consignment: ConsignmentId, link: LinkId) -> Told {
        let tester = Actor::Link(link);
        let count = self.packed(consignment).await?.len();
        let receipt = ParcelReceipt {
            consignment,
            at: self.script.clock.now(),
            count: u32::try_from(count)?,
            seal: SealState::Intact,
            seal_number: self.seal_number(),
        };
        let opened = Entry::ReceiptNoted(receipt);
        self.script.tell(tester, opened, None).await?;
        match self.lab {
            Some(first) => {
                let same_as = Some(first);
                self.script
                    .say(Entry::LabLinked {
                        consignment,
                        same_as,
                    })
                    .await?;
            }
            None => self.equip(consignment, tester).await?,
        }
        Ok(())
    }

    /// The steward seals the parcel.
    pub(super) async fn seal_parcel(&self, consignment: ConsignmentId) -> Told {
        let number = self.seal_number();
        self.script
            .say(Entry::ParcelSealed {
                consignment,
                number,
            })
            .await?;
        Ok(())
    }

    fn seal_number(&self) -> String {
        format!("{}-0417", self.mark)
    }

    async fn equip(&mut self, consignment: ConsignmentId, tester: Actor) -> Told {
        let calibrated = self.script.clock.now() - Duration::days(40);
        let calibrated = calibrated.date_naive();
        let item = |kind, name: &str, range: Option<(f64, f64)>| Equipment {
            kind,
            name: name.to_owned(),
            serial: String::new(),
            range_from: range.map(|(from, _)| from),
            range_to: range.map(|(_, to)| to),
            class: range.map(|_| "1".to_owned()).unwrap_or_default(),
            calibrated_on: range.map(|_| calibrated),
            valid_until: None,
            paper: None,
            picture: None,
        };
        let machine = item(EquipmentKind::Machine, "bench frame no. 2", None);
        let cell = item(EquipmentKind::LoadCell, "1 kN cell", Some((20.0, 1000.0)));
        let fixture = item(EquipmentKind::Fixture, "oak jaws, 40 mm", None);
        let mut kept = Vec::new();
        for equipment in [machine, cell, fixture] {
            let entry = Entry::EquipmentKept(Box::new(EquipmentKept {
                consignment,
                replaces: None,
                change: None,
                equipment,
                origin: None,
            }));
            let receipt = self.script.tell(tester, entry, None).await?;
            kept.push(EntryId(receipt.id));
        }
        let mut kept = kept.into_iter();
        self.used = Used {
            machine: kept.next(),
            cell: kept.next(),
            fixture: kept.next(),
            method: "pulled to the break, one after the other".to_owned(),
            conditioning: "three days in the room".to_owned(),
            ..Used::default()
        };
        self.lab = Some(consignment);
        Ok(())
    }
}

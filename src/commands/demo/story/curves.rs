//! The story of the curves: what the machine wrote of each session, one file with all its pegs one below the
//! other, drawn by formula and read as a tester's file is. It is an old machine that writes no travel.

use sha2::{Digest, Sha256};

use super::*;
use crate::analysis::property::Sizes;
use crate::analysis::property::read::read_off;
use crate::mechanics::curve::{Curve, Frame};
use crate::mechanics::evaluate::{Rule, landmarks};
use crate::mechanics::machine_file::assemble::Drawn;
use crate::mechanics::machine_file::{Hints, read};
use crate::store::{Blob, CurveFile};
use crate::study::code::BlindCode;
use crate::study::curve::KeptCurve;

/// Points of a curve up to its break.
const POINTS: u32 = 40;

impl Story {
    /// The file of a session, and the curve of each peg in it kept by the tester.
    pub(super) async fn keep_curves(
        &mut self,
        consignment: ConsignmentId,
        link: LinkId,
        broken: &[(BlindCode, f64)],
    ) -> Told {
        let mut text = "Sample;Time [s];Load [N]\r\n".to_owned();
        for (blind, load) in broken {
            let newton_each_second = self.give.around(57.0, 4.0, 2);
            text.push_str(&curve(blind, *load, *load / newton_each_second));
        }
        let bytes = text.replace('.', ",").into_bytes();
        let name = format!("{} {}.csv", self.mark, self.script.clock.now().date_naive());
        let sha256: [u8; 32] = Sha256::digest(&bytes).into();
        let file = read(&bytes, &Hints::default()).map_err(|fault| fault.to_string())?;
        let blob = Blob {
            media_type: "text/csv".to_owned(),
            bytes,
        };
        self.script.store.put_blob(&blob).await?;
        let kept = CurveFile {
            id: self.script.clock.new_id(),
            consignment,
            sha256,
            name,
            received_at: self.script.clock.now(),
            said: String::new(),
        };
        self.script.store.add_curve_file(&kept).await?;
        for (place, drawn) in (0_u32..).zip(file.curves()) {
            let curve = kept_curve(&kept, place, drawn)?;
            let tester = Actor::Link(link);
            let entry = Entry::CurveKept(Box::new(curve));
            self.script.tell(tester, entry, None).await?;
        }
        Ok(())
    }
}

/// Rises nearly straight to its load, is gone at once.
fn curve(blind: &BlindCode, load_n: f64, time_s: f64) -> String {
    let rise = (0..=POINTS).map(|point| {
        let share = f64::from(point) / f64::from(POINTS);
        (time_s * share, load_n * share * (1.2 - 0.2 * share))
    });
    let after = (1_u32..=3).map(|step| (time_s + 0.1 * f64::from(step), load_n * 0.01));
    let lines = rise.chain(after);
    let lines = lines.map(|(time, load)| format!("{blind};{time:.2};{load:.1}\r\n"));
    lines.collect()
}

/// What a tester's page keeps of a curve, by the same steps.
fn kept_curve(file: &CurveFile, place: u32, drawn: Drawn) -> Told<KeptCurve> {
    let blind: BlindCode = drawn
        .label
        .as_deref()
        .ok_or("a curve whose peg is not named")?
        .parse()
        .map_err(|fault| format!("{fault:?}"))?;
    let curve = Curve::new(drawn, Frame::default()).map_err(|fault| fault.to_string())?;
    let marks = landmarks(&curve, &Rule::default());
    let read = read_off(&curve, &marks, None, &Sizes::default());
    Ok(KeptCurve {
        consignment: file.consignment,
        blind,
        file_sha256: crate::clock::hex(&file.sha256),
        file_name: file.name.clone(),
        place,
        said: String::new(),
        max_load_n: marks.maximum.load_n,
        extension_at_max_mm: marks.maximum.extension_mm,
        end_load_n: marks.end.load_n,
        extension_at_end_mm: marks.end.extension_mm,
        energy_to_max_j: marks.maximum.energy_j,
        energy_to_end_j: marks.end.energy_j,
        ended_at_line: None,
        is_confirmed_doubt: false,
        end_reason: None,
        read: Some(read.off),
    })
}

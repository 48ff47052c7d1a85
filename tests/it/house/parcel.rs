//! A lab's record and a parcel that arrived, said through the journal's own path; and forms with
//! files, as a browser sends them.

use super::{Person, Shown, camera};
use overwinter::clock::hex;
use overwinter::commands::demo::script::Script;
use overwinter::picture;
use overwinter::store::Blob;
use overwinter::study::break_test::{BreakTest, FailureMode, Looks, Outcome};
use overwinter::study::entry::Entry;
use overwinter::study::equipment::{Equipment, EquipmentKept, EquipmentKind, Paper, PaperKind};
use overwinter::study::ids::{ConsignmentId, EntryId};
use overwinter::study::photograph::Files;
use overwinter::study::receipt::{ArrivalPhotograph, ParcelReceipt, SealState};
use overwinter::study::record::{ConsignmentRecord, PieceRecord};
use reqwest::Method;
use reqwest::multipart::{Form, Part};

/// The smallest thing that begins like a PDF.
pub const PDF: &[u8] = b"%PDF-1.7\n%a certificate in no words\n";

async fn kept(script: &Script, sent: &[u8]) -> Files {
    let clean = picture::clean(sent).expect("a photograph");
    let files = Files {
        width: clean.width,
        height: clean.height,
        large: picture::sha256(&clean.large),
        small: picture::sha256(&clean.small),
        sent: picture::sha256(sent),
    };
    for bytes in [clean.large, clean.small] {
        let media_type = "image/jpeg".to_owned();
        let blob = Blob { media_type, bytes };
        script.store.put_blob(&blob).await.expect("it is kept");
    }
    files
}

/// A load cell with certificate and picture, and a parcel with a seal, one photograph and a piece that
/// came with a remark.
pub async fn received(script: &Script, consignment: ConsignmentId) -> EntryId {
    let sent = camera::jpeg(80, 60, 1);
    let files = kept(script, &sent).await;
    let blob = Blob {
        media_type: PaperKind::Pdf.key().to_owned(),
        bytes: PDF.to_vec(),
    };
    let sha256 = script.store.put_blob(&blob).await.expect("it is kept");
    let equipment = Equipment {
        kind: EquipmentKind::LoadCell,
        name: "small cell".to_owned(),
        serial: "17".to_owned(),
        range_from: Some(20.0),
        range_to: Some(1000.0),
        class: "1".to_owned(),
        calibrated_on: Some(script.clock.now().date_naive()),
        valid_until: None,
        paper: Some(Paper {
            name: "certificate.pdf".to_owned(),
            kind: PaperKind::Pdf,
            sha256: hex(&sha256),
            bytes: PDF.len() as u64,
        }),
        picture: Some(files.clone()),
    };
    let kept = EquipmentKept {
        consignment,
        replaces: None,
        change: None,
        equipment,
        origin: None,
    };
    let say = async |entry| script.say(entry).await.expect("the journal takes it").id;
    let item = say(Entry::EquipmentKept(Box::new(kept))).await;
    say(Entry::ReceiptNoted(ParcelReceipt {
        consignment,
        at: script.clock.now(),
        count: 5,
        seal: SealState::Broken,
        seal_number: String::new(),
    }))
    .await;
    say(Entry::ArrivalPhotographed(Box::new(ArrivalPhotograph {
        consignment,
        blinds: Vec::new(),
        files,
    })))
    .await;
    EntryId(item)
}

/// Sends a form with files, each with its field, its name and its bytes.
pub async fn send(
    person: &Person,
    path: &str,
    fields: &[(&str, &str)],
    files: &[(&str, &str, &[u8])],
) -> Shown {
    let form = fields.iter().fold(Form::new(), |form, (name, value)| {
        form.text((*name).to_owned(), (*value).to_owned())
    });
    let form = files.iter().fold(form, |form, (field, name, bytes)| {
        let part = Part::bytes(bytes.to_vec()).file_name((*name).to_owned());
        form.part((*field).to_owned(), part)
    });
    let request = person.request(Method::POST, path);
    let request = request.header("sec-fetch-site", "same-origin");
    person.send(request.multipart(form)).await
}

/// How a piece fared: its load in N, or that its grip slipped.
pub type Fared = Option<f64>;

/// Tests pieces of a consignment in their order as a steward who types for the lab would, and says what they
/// looked like.
pub async fn tested(script: &Script, one: &ConsignmentRecord, pieces: &[(&PieceRecord, Fared)]) {
    for (piece, fared) in pieces {
        let test = BreakTest {
            consignment: one.id,
            blind: piece.blind.clone(),
            outcome: fared.map_or(Outcome::Invalid, |_| Outcome::Valid),
            max_load_n: *fared,
            typed: None,
            energy_j: None,
            mode: fared.map_or(FailureMode::GripSlip, |_| FailureMode::Break),
            failure: None,
            is_out_of_order: false,
            is_confirmed_doubt: false,
        };
        let told = script.say_because(Entry::BreakTested(test), "as it was seen");
        told.await.expect("a test");
        let seen = Entry::Guessed {
            consignment: one.id,
            blind: piece.blind.clone(),
            looks: Looks::CannotTell,
        };
        script.say(seen).await.expect("a guess");
    }
}

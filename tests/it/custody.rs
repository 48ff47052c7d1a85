//! What was sent and what arrived: one list for both sides, differences settled in words, photographs
//! and the logger of the way, and the chain of custody as one line of dates.

use crate::house::parcel::send;
use crate::house::ready::{DAYS, PLACES, Ready, Wanted, at_the_lab};
use crate::house::{Person, Shown, TestServer, camera};
use overwinter::store::verify::verify;
use overwinter::study::custody::line;
use overwinter::study::photograph::View;
use overwinter::study::receipt::{About, SealState};
use overwinter::study::record::{ConsignmentRecord, StudyRecord};
use std::sync::Arc;

struct Parcel {
    server: TestServer,
    ready: Ready,
    desk: String,
    tester: Person,
    lab: String,
    codes: Vec<String>,
}

impl Parcel {
    async fn packed() -> Self {
        let server = TestServer::start().await;
        let ready = Wanted::small().ready(&server, "ada").await;
        let stage = format!("stage-{DAYS}");
        let desk = ready.pack(&stage, &ready.of_stage(DAYS)).await;
        let way_in = ready.link(&desk).await;
        let (tester, lab) = at_the_lab(&server, &way_in).await;
        let codes = tester.open(&lab).await.texts(".row-head .code");
        Self {
            server,
            ready,
            desk,
            tester,
            lab,
            codes,
        }
    }

    async fn record(&self) -> Arc<StudyRecord> {
        let record = self.server.app.store.study_record(&self.ready.slug).await;
        record.unwrap().unwrap()
    }

    async fn post(&self, page: &str, fields: &[(&str, &str)]) -> Shown {
        let id = self.server.app.clock.new_id().to_string();
        let mut all = vec![("entry", id.as_str())];
        all.extend_from_slice(fields);
        self.tester
            .submit(&format!("{}/{page}", self.lab), &all)
            .await
    }

    async fn at_the_desk(&self, fields: &[(&str, &str)]) -> Shown {
        let id = self.server.app.clock.new_id().to_string();
        let mut all = vec![("entry", id.as_str())];
        all.extend_from_slice(fields);
        let path = format!("{}/arrival", self.desk);
        self.ready.person.submit(&path, &all).await
    }

    async fn both_pages(&self) -> [Shown; 2] {
        let lab = self.tester.open(&format!("{}/parcel", self.lab)).await;
        let path = format!("{}/arrival", self.desk);
        let desk = self.ready.person.open(&path).await;
        lab.ok();
        desk.ok();
        [lab, desk]
    }
}

fn only(record: &StudyRecord) -> &ConsignmentRecord {
    &record.consignments[0]
}

#[tokio::test]
async fn both_sides_see_the_same_list_and_either_settles_what_differs() {
    let parcel = Parcel::packed().await;
    parcel
        .at_the_desk(&[("act", "seal"), ("number", "S-481")])
        .await
        .is(303);
    let receipt = [
        ("at", "2026-03-02T09:30"),
        ("count", "8"),
        ("seal", "intact"),
        ("seal_number", "S-418"),
        ("note", "wet on one side"),
    ];
    parcel.post("parcel", &receipt).await.is(303);
    let (bent, gone) = (&parcel.codes[2], &parcel.codes[5]);
    let (state, remark) = (format!("state-{bent}"), format!("remark-{bent}"));
    let missing = format!("state-{gone}");
    let ticks = [
        (state.as_str(), "remark"),
        (remark.as_str(), "scratched at the eye"),
        (missing.as_str(), "missing"),
        ("act", "all_whole"),
    ];
    parcel.post("box", &ticks).await.is(303);
    let [lab, desk] = parcel.both_pages().await;
    let rows = |page: &Shown| -> Vec<String> {
        let cells = page.texts("table tbody td:nth-child(3)");
        let codes = page.texts("table tbody th");
        codes
            .into_iter()
            .zip(cells)
            .map(|(c, s)| format!("{c} {s}"))
            .collect()
    };
    assert_eq!(rows(&lab).len(), 9);
    assert_eq!(
        rows(&lab),
        rows(&desk),
        "the same pieces in the same states"
    );
    let listed = lab.texts(".differences > li");
    assert_eq!(listed, desk.texts(".differences > li"));
    assert_eq!(listed.len(), 4, "{listed:?}");
    assert!(listed[0].contains("9 sent, 8 counted"));
    assert!(listed[1].contains("sealed with number S-481, number on arrival: S-418"));
    assert!(listed.iter().all(|one| one.contains("not settled")));
    assert!(lab.body().contains("9 sent; 8 arrived, 1 missing."));
    // It stops nobody.
    let set_up = [
        ("machine", "m"),
        ("fixture", "f"),
        ("unit", "N"),
        ("tested_on", "2026-03-02"),
    ];
    parcel.post("set-up", &set_up).await.is(303);
    let row = [("load", "312"), ("outcome", "valid"), ("mode", "opened")];
    parcel
        .post(&format!("tests/{}", parcel.codes[0]), &row)
        .await
        .is(303);
    // The lab settles one, the steward another.
    parcel
        .post("parcel/settle", &[("about", "seal"), ("words", "")])
        .await
        .refused();
    let words = "read wrongly: the 1 and the 8 are hard to tell apart";
    parcel
        .post("parcel/settle", &[("about", "seal"), ("words", words)])
        .await
        .is(303);
    let about = format!("piece:{gone}");
    let found = [
        ("act", "settle"),
        ("about", about.as_str()),
        ("words", "it lay here, sent after"),
    ];
    parcel.at_the_desk(&found).await.is(303);
    let [lab, desk] = parcel.both_pages().await;
    let listed = lab.texts(".differences > li");
    assert_eq!(listed, desk.texts(".differences > li"));
    assert!(listed[1].contains("settled the lab") && listed[1].contains(words));
    assert!(listed[3].contains("the steward") && listed[3].contains("sent after"));
    // What differs in nothing cannot be settled.
    let whole = format!("piece:{}", parcel.codes[0]);
    parcel
        .post("parcel/settle", &[("about", &whole), ("words", "x")])
        .await
        .refused();
    // Said anew, it is open anew; what was said stays in the journal.
    parcel.post("parcel", &receipt).await.is(303);
    let record = parcel.record().await;
    let custody = &only(&record).custody;
    assert_eq!(custody.settlements.len(), 2);
    assert!(custody.settlements[0].is_earlier && custody.settlements[0].about == About::Seal);
    assert!(!custody.settlements[1].is_earlier);
    let [lab, _] = parcel.both_pages().await;
    assert!(lab.texts(".differences > li")[1].contains("not settled"));
}

#[tokio::test]
async fn what_the_steward_writes_for_the_tester_names_no_piece_condition_or_holder() {
    let parcel = Parcel::packed().await;
    let receipt = [("at", "2026-03-02"), ("count", "8"), ("seal", "none")];
    parcel.post("parcel", &receipt).await.is(303);
    let code = parcel.ready.of_stage(DAYS)[0].to_string();
    for secret in [&code, PLACES[2].0, PLACES[1].1[0], "Walrus Tank"] {
        let words = format!("the one of {secret} is missing");
        let settle = [
            ("act", "settle"),
            ("about", "count"),
            ("words", words.as_str()),
        ];
        let shown = parcel.at_the_desk(&settle).await;
        assert!(
            shown.refused().fault("words").contains("must not know"),
            "{secret}"
        );
        let seal = [("act", "seal"), ("number", words.as_str())];
        parcel.at_the_desk(&seal).await.refused();
    }
    assert!(only(&*parcel.record().await).custody.settlements.is_empty());
}

#[tokio::test]
async fn a_receipt_that_cannot_be_comes_back_with_its_faults() {
    let parcel = Parcel::packed().await;
    for (field, value) in [
        ("at", "2031-03-02"),
        ("at", "yesterday"),
        ("count", "-1"),
        ("count", "eight"),
        ("seal", "wax"),
        ("seal_number", "S-1\u{202e}"),
    ] {
        let mut fields = vec![
            ("at", "2026-03-02"),
            ("count", "9"),
            ("seal", "intact"),
            ("seal_number", "S-481"),
        ];
        fields
            .iter_mut()
            .find(|(name, _)| *name == field)
            .unwrap()
            .1 = value;
        let shown = parcel.post("parcel", &fields).await;
        assert!(!shown.refused().fault(field).is_empty(), "{field}={value}");
    }
    let none = [
        ("at", "2026-03-02"),
        ("count", "9"),
        ("seal", "none"),
        ("seal_number", "7"),
    ];
    assert!(
        !parcel
            .post("parcel", &none)
            .await
            .refused()
            .fault("seal_number")
            .is_empty()
    );
    assert!(only(&*parcel.record().await).custody.receipt.is_none());
}

#[tokio::test]
async fn photographs_on_arrival_are_clean_and_nobodys_before_unblinding() {
    let parcel = Parcel::packed().await;
    let path = format!("{}/parcel/photographs", parcel.lab);
    let id = parcel.server.app.clock.new_id().to_string();
    let fields = [
        ("entry", id.as_str()),
        ("shows", &parcel.codes[1]),
        ("shot_note", "bent"),
    ];
    let sent = camera::jpeg(300, 200, 6);
    for _ in 0..2 {
        let shown = send(&parcel.tester, &path, &fields, &[("file", "a.jpg", &sent)]).await;
        shown.redirects_to(&format!("{}/parcel", parcel.lab));
    }
    let record = parcel.record().await;
    let shots = &only(&record).custody.photographs;
    assert_eq!(shots.len(), 1, "sent twice, kept once");
    let piece = only(&record)
        .pieces
        .iter()
        .find(|p| p.blind.as_str() == parcel.codes[1]);
    let piece = piece.unwrap().specimen.clone();
    let photo = record
        .photographs_of(&piece)
        .next()
        .expect("it is the piece's");
    assert_eq!(photo.view(), View::Arrived);
    // Both sides see it, nothing but the picture.
    let address = format!("{path}/{id}/large.jpg");
    let large = parcel.tester.open(&address).await;
    assert!(!String::from_utf8_lossy(&large.ok().bytes).contains(camera::PLACE));
    let [lab, desk] = parcel.both_pages().await;
    assert!(lab.body().contains(&id) && desk.body().contains(&id));
    // Not before unblinding; a stranger never sees the lab's address of it.
    let photograph = format!("/desk/{}/photographs/{id}", parcel.ready.slug);
    let fresh = parcel.server.app.clock.new_id().to_string();
    let release = [("entry", fresh.as_str()), ("act", "release")];
    parcel
        .ready
        .person
        .submit(&photograph, &release)
        .await
        .refused();
    parcel.server.stranger().open(&address).await.is(404);
    assert_eq!(record.public_photographs().count(), 0);
    // No picture, and a code of somebody else's.
    let id = parcel.server.app.clock.new_id().to_string();
    let fields = [("entry", id.as_str()), ("shows", "ZZZZZZZ")];
    send(
        &parcel.tester,
        &path,
        &fields,
        &[("file", "a.jpg", b"nothing")],
    )
    .await
    .refused();
    // Erased by the steward, its pictures are gone from the lab's page as well.
    let fresh = parcel.server.app.clock.new_id().to_string();
    let erase = [
        ("entry", fresh.as_str()),
        ("act", "erase"),
        ("reason", "a face"),
    ];
    parcel
        .ready
        .person
        .submit(&photograph, &erase)
        .await
        .is(303);
    parcel.tester.open(&address).await.is(404);
}

/// A logger of half-hours, with a decimal comma, as its program writes it; its true lowest and highest
/// values are known.
pub const LOGGER: &str = "Logger 7\nDatum;Temperatur [°C];Feuchte [%]\n01.03.2026 08:00;21,5;40\n\
    01.03.2026 08:30;48,2;35,5\n01.03.2026 09:00;-3,1;60\n01.03.2026 09:30;20,0;41\n";

#[tokio::test]
async fn the_logger_that_travelled_along_is_looked_at_and_kept() {
    let parcel = Parcel::packed().await;
    let path = format!("{}/parcel/logger", parcel.lab);
    let sent = send(
        &parcel.tester,
        &path,
        &[],
        &[("logger", "t.csv", LOGGER.as_bytes())],
    )
    .await;
    let on = sent.is(303).header("location").to_owned();
    let page = parcel.tester.open(&on).await;
    assert!(page.ok().body().contains("4 rows"), "{}", page.body());
    let sheet = crate::house::Sheet::of(&page, "main form");
    let keep = sheet.with("name", "blue logger");
    keep.send(&parcel.tester, &format!("{path}/keep"))
        .await
        .is(303);
    let record = parcel.record().await;
    let transit = &only(&record).custody.transits[0].transit;
    let run = transit.extremes[0];
    assert!((run.lowest + 3.1).abs() < 1e-9 && (run.highest - 48.2).abs() < 1e-9);
    let [lab, desk] = parcel.both_pages().await;
    for page in [&lab, &desk] {
        assert!(page.body().contains("temperature -3.1 to 48.2 °C"));
    }
    // Another's link does not reach the file by its hash.
    let baseline = parcel
        .ready
        .pack("baseline", &parcel.ready.baseline())
        .await;
    let way_in = parcel.ready.link(&baseline).await;
    let (other, lab) = at_the_lab(&parcel.server, &way_in).await;
    let query = on.split('?').nth(1).unwrap();
    let shown = other.open(&format!("{lab}/parcel/logger?{query}")).await;
    shown.redirects_to(&format!("{lab}/parcel"));
    // What is no table is said so, and verify finds every file in its place.
    let sent = send(
        &parcel.tester,
        &path,
        &[],
        &[("logger", "x", b"\0\x01\x02")],
    )
    .await;
    let page = parcel.tester.open(sent.is(303).header("location")).await;
    page.refused();
    let path = crate::photographs::database(&parcel.server);
    let report = verify(&path, &[]).await.expect("it runs");
    assert_eq!(report.faults, Vec::<String>::new());
}

#[tokio::test]
async fn the_chain_of_custody_is_one_line_of_dates() {
    let parcel = Parcel::packed().await;
    let moved = async |state: &str, at: &str| {
        let id = parcel.server.app.clock.new_id().to_string();
        let fields = [
            ("entry", id.as_str()),
            ("state", state),
            ("at", at),
            ("confirmed", "yes"),
        ];
        let path = format!("{}/parcel", parcel.desk);
        parcel.ready.person.submit(&path, &fields).await.is(303);
    };
    let receipt = [("at", "2026-03-02"), ("count", "9"), ("seal", "intact")];
    parcel.post("parcel", &receipt).await.is(303);
    let set_up = [
        ("machine", "m"),
        ("fixture", "f"),
        ("unit", "N"),
        ("tested_on", "2026-03-02"),
    ];
    parcel.post("set-up", &set_up).await.is(303);
    let row = [("load", "312"), ("outcome", "valid"), ("mode", "opened")];
    parcel
        .post(&format!("tests/{}", parcel.codes[0]), &row)
        .await
        .is(303);
    moved("handed_over", "2026-03-02").await;
    moved("discarded", "2026-03-02").await;
    let record = parcel.record().await;
    let one = only(&record);
    let piece = &one.pieces[0];
    let specimen = record.specimen(&piece.specimen).unwrap();
    let keys: Vec<&str> = line::of(&record, specimen)
        .iter()
        .map(|step| step.key)
        .collect();
    let own = [
        "made",
        "put_out",
        "taken_in",
        "packed",
        "handed_over",
        "received",
        "discarded",
    ];
    assert_eq!(
        keys, own,
        "when it was tested is not told before unblinding"
    );
    // The tester sees the part that concerns the consignment, with the test; the steward without.
    let [lab, desk] = parcel.both_pages().await;
    let ways = |page: &Shown| page.texts("table tbody td:nth-child(4)");
    assert!(
        ways(&lab)[0].contains("tested 2 March 2026"),
        "{:?}",
        ways(&lab)[0]
    );
    assert!(!ways(&lab)[0].contains("put out"));
    assert!(!ways(&desk)[0].contains("tested"));
    assert!(ways(&desk)[0].contains("received 2 March 2026"));
    let page = format!("/desk/{}/specimens/{}", parcel.ready.slug, piece.specimen);
    let shown = parcel.ready.person.open(&page).await;
    assert!(shown.ok().body().contains("· packed ") && !shown.body().contains("· tested "));
    // Unblinded, it is told, and the edition has the line for each piece.
    let id = parcel.server.app.clock.new_id().to_string();
    let early = [("entry", id.as_str()), ("reason", "for the test")];
    let unblind = format!("{}/unblind", parcel.desk);
    parcel.ready.person.submit(&unblind, &early).await.is(303);
    let shown = parcel.ready.person.open(&page).await;
    assert!(shown.ok().body().contains("· tested 2 March 2026"));
    let record = parcel.record().await;
    assert_eq!(SealState::Intact.key(), "intact");
    let findings = overwinter::analysis::analyse(&record).expect("findings");
    let table = overwinter::report::custody::table(&record, &findings).expect("a table");
    let table = String::from_utf8(table).unwrap();
    let code = piece.specimen.as_str();
    let own = table
        .lines()
        .find(|line| line.starts_with(code))
        .expect("its row");
    assert!(own.contains("2026-03-02") && own.contains("intact") && own.contains("· tested "));
}

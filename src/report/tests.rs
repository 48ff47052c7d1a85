//! An edition of an invented study, looked at as a reader would.

mod fit;

use std::collections::BTreeMap;

use askama::Template;
use chrono::{Duration, NaiveDate};
use scraper::{Html, Selector};

use crate::analysis::analyse;
use crate::analysis::findings::Findings;
use crate::analysis::tests::build::{Made, a_study, start};
use crate::report::edition::{File, RenderFault, render};
use crate::report::page::Meta;
use crate::study::break_test::Looks;
use crate::study::custody::{Decision, Incident};
use crate::study::ids::EntryId;
use crate::study::licence::Licence;
use crate::study::plan::{Environment, sha256_hex};
use crate::study::record::{IncidentRecord, PlanVersion, Standing, StudyRecord, WaiverRecord};

const KEPT: [f64; 8] = [301.5, 312.0, 305.2, 309.1, 297.9, 316.4, 303.3, 310.0];

/// Three conditions, two stages, one lost, one invalid, one total loss, one correction, one waiver,
/// one amendment, one incident.
pub(super) fn study() -> StudyRecord {
    let scaled = |factor: f64| KEPT.map(|n| n * factor);
    let mut study = a_study()
        .planned(|plan| {
            plan.stages[0].days = 365;
            plan.conditions[0].name = "cupboard".into();
        })
        .condition("rain barrel", Environment::FreshWater, 1)
        .condition("garden bed", Environment::Soil, 1)
        .condition("south roof", Environment::Outdoor, 1)
        .stage(90)
        .baseline(&scaled(1.03)[..6])
        .broke_after("c1", 90, &KEPT[..6])
        .broke_after("c2", 90, &scaled(0.95)[..6])
        .broke_after("c3", 90, &scaled(0.99)[..6])
        .broke_after("c4", 90, &scaled(0.97)[..6])
        .broke("c1", &KEPT)
        .broke("c2", &[221.0, 236.5, 248.0, 230.2, 214.9, 240.3])
        .pieces("c2", &[Made::Lost, Made::Invalid("slipped off the pin")])
        .broke("c3", &scaled(0.985))
        .broke(
            "c4",
            &[262.0, 300.5, 281.0, 312.2, 254.9, 290.3, 296.0, 270.0],
        )
        .masses(|n| {
            (
                5.0 + (n % 7) as f64 / 100.0,
                4.985 + (n % 7) as f64 / 100.0 - (n % 5) as f64 / 1000.0,
            )
        });
    for at in 30..60 {
        let looks = [Looks::Indoors, Looks::Exposed, Looks::CannotTell][at % 3];
        study = study.looks(at, looks);
    }
    let mut record = study.build();
    let sealed = record.plans[0].clone();
    let mut amended = sealed.plan.clone();
    amended.conditions[3].place = "the neighbour's garden".into();
    record.plans.push(PlanVersion {
        version: 2,
        sha256: sha256_hex(&amended.to_bytes().unwrap()),
        plan: amended,
        at: start() + Duration::days(60),
        amendment_reason: Some("The rack had to move for building work.".into()),
        is_knowing_results: false,
    });
    record.waivers.push(WaiverRecord {
        entry: EntryId(uuid::Uuid::from_u128(77)),
        specimen: record.specimens[40].code.clone(),
        reason: "The balance's battery was empty.".into(),
        at: start(),
    });
    record.incidents.push(IncidentRecord {
        entry: EntryId(uuid::Uuid::from_u128(78)),
        incident: Incident {
            holder: "c4h1".into(),
            from: NaiveDate::from_ymd_opt(2024, 8, 1).unwrap(),
            until: NaiveDate::from_ymd_opt(2024, 8, 3),
            into_holder: None,
            decision: Decision::Keep,
        },
        note: "Blown over in a storm, found on its side".into(),
        received_at: start() + Duration::days(151),
        standing: Standing::Current,
    });
    let mut corrected = record.readings[60].clone();
    record.readings[60].standing = Standing::Superseded;
    corrected.entry = EntryId(uuid::Uuid::from_u128(79));
    corrected.supersedes = Some(record.readings[60].entry);
    corrected.reading.value += 0.1;
    corrected.note = Some("read 4.95 for 5.05".into());
    record.readings.push(corrected);
    record
}

fn meta() -> Meta {
    Meta {
        number: 1,
        at: start() + Duration::days(400),
        current_href: "../../".into(),
        program: "0.1.0".into(),
        licence: Some(Licence::CcBy),
        origin: Some("https://studies.example.org".into()),
    }
}

fn edition(record: &StudyRecord) -> BTreeMap<String, File> {
    rendered(record, &analyse(record).unwrap())
}

fn rendered(record: &StudyRecord, findings: &Findings) -> BTreeMap<String, File> {
    let files = render(
        record,
        findings,
        &Default::default(),
        &Default::default(),
        &meta(),
    )
    .unwrap();
    files.into_iter().map(|f| (f.path.clone(), f)).collect()
}

fn text(files: &BTreeMap<String, File>, path: &str) -> String {
    String::from_utf8(files[path].bytes.clone()).unwrap()
}

/// Writes the edition where somebody can look at it, when told where.
fn keep_for_looking(name: &str, files: &BTreeMap<String, File>) {
    if let Ok(place) = std::env::var("EDITION_DIR") {
        let folder = std::path::Path::new(&place).join(name);
        std::fs::create_dir_all(&folder).unwrap();
        for (path, file) in files {
            std::fs::write(folder.join(path), &file.bytes).unwrap();
        }
    }
}

#[test]
fn a_page_is_one_file_under_a_hundred_kilobytes_without_script_or_inline_style() {
    let files = edition(&study());
    keep_for_looking("final", &files);
    let page = text(&files, "index.html");
    assert!(page.len() < 100_000, "{} bytes", page.len());
    assert!(
        page.matches("<script").count() == 1
            && !page.contains("style=")
            && !page.contains("<style")
    );
    assert!(files.contains_key("edition.css") && files.contains_key("figure-max-load.svg"));
}

#[test]
fn every_link_of_the_page_is_a_file_beside_it_or_the_current_address() {
    let files = edition(&study());
    let page = Html::parse_document(&text(&files, "index.html"));
    let mut links = 0;
    for (tag, attribute) in [("a", "href"), ("link", "href"), ("img", "src")] {
        for element in page.select(&Selector::parse(tag).unwrap()) {
            let to = element.value().attr(attribute).unwrap();
            links += 1;
            assert!(
                files.contains_key(to)
                    || to.starts_with('#')
                    || to == "../../"
                    || to == "../../../barrel-clips/feed.atom"
                    || to == Licence::CcBy.address(),
                "{to} leads nowhere"
            );
        }
    }
    assert!(links > 8);
}

#[test]
fn the_page_shows_every_specimen_and_what_became_of_it() {
    let record = study();
    let page = text(&edition(&record), "index.html");
    for specimen in &record.specimens {
        assert!(
            page.contains(specimen.code.as_str()),
            "{} is missing",
            specimen.code
        );
    }
    for words in [
        "slipped off the pin",
        "The rack had to move for building work",
        "The balance's battery was empty"
            .replace('\'', "&#39;")
            .as_str(),
        "read 4.95 for 5.05",
        "Blown over in a storm",
        "Outside witnesses: none.",
        "own word",
        "Not for certifying, rating or approving load-bearing",
    ] {
        assert!(page.contains(words), "{words}");
    }
}

#[test]
fn what_people_typed_stays_words() {
    let mut record = study();
    record.title = "<b>bold</b> & \"quoted\"".into();
    record.plans[1].plan.conditions[1].name = "<script>alert(1)</script>".into();
    let bytes = record.plans[1].plan.to_bytes().unwrap();
    record.plans[1].sha256 = sha256_hex(&bytes);
    let files = edition(&record);
    for path in ["index.html", "figure-max-load.svg"] {
        let page = text(&files, path);
        assert!(
            !page.contains("<script>") && !page.contains("<b>bold"),
            "{path}"
        );
    }
}

#[test]
fn the_files_hold_what_the_page_says() {
    let record = study();
    let files = edition(&record);
    assert_eq!(
        sha256_hex(&files["plan.json"].bytes),
        record.seal.as_ref().unwrap().sha256
    );
    let found: crate::analysis::findings::Findings =
        serde_json::from_slice(&files["findings.json"].bytes).unwrap();
    assert!(
        found == analyse(&record).unwrap(),
        "the findings do not read back as they were"
    );
    let mut rows = csv::Reader::from_reader(&files["specimens.csv"].bytes[..]);
    assert_eq!(
        rows.headers()
            .unwrap()
            .iter()
            .take(9)
            .collect::<Vec<_>>()
            .join(","),
        "specimen,lot,build,condition,role,stage_days,holder,mass_before_g,mass_after_g"
    );
    assert_eq!(rows.records().count(), record.specimens.len());
    let mut rows = csv::Reader::from_reader(&files["comparisons.csv"].bytes[..]);
    let first = rows.records().next().unwrap().unwrap();
    let member = &found.primary.unwrap().family.members[0];
    let ratio = member.ratio.as_ref().unwrap();
    assert_eq!(first[17].parse::<f64>().unwrap(), ratio.lower.unwrap());
    let difference = member.difference.as_ref().unwrap();
    assert_eq!(first[26].parse::<f64>().unwrap(), difference.lower);
}

#[test]
fn an_interim_edition_tells_nothing_of_what_is_blind() {
    let mut record = study();
    let last = record
        .consignments
        .iter_mut()
        .max_by_key(|c| c.packed_at)
        .unwrap();
    last.unblinded_at = None;
    let hidden: Vec<String> = last.pieces.iter().map(|p| p.specimen.to_string()).collect();
    let files = edition(&record);
    keep_for_looking("interim", &files);
    assert!(text(&files, "index.html").contains("interim, stage 1 of 2"));
    for (path, file) in &files {
        let bytes = String::from_utf8_lossy(&file.bytes);
        for code in &hidden {
            assert!(!bytes.contains(code.as_str()), "{code} in {path}");
        }
        for load in ["236.5", "254.9", "296.9775"] {
            assert!(!bytes.contains(load), "{load} in {path}");
        }
    }
}

#[test]
fn a_plan_that_no_longer_gives_its_hash_is_refused() {
    let mut record = study();
    let findings = analyse(&record).unwrap();
    record.plans[0].plan.margin_percent = 20.0;
    let fault = render(
        &record,
        &findings,
        &Default::default(),
        &Default::default(),
        &meta(),
    )
    .unwrap_err();
    assert!(
        matches!(fault, RenderFault::PlanBytes { version: 1 }),
        "{fault}"
    );
}

#[test]
fn the_same_findings_render_to_the_same_bytes() {
    let record = study();
    assert_eq!(edition(&record), edition(&record));
}

#[test]
fn the_page_before_results_tells_nothing_of_pieces_or_of_what_came_back() {
    let mut record = study();
    for consignment in &mut record.consignments {
        consignment.unblinded_at = None;
    }
    let links = crate::report::progress::Links {
        photographs: String::new(),
        stylesheet: "edition.css".into(),
        home: "/".into(),
        feed: "/studies/x/feed.atom".into(),
        plan: None,
    };
    let now = "2025-04-03T12:00:00Z".parse().unwrap();
    let page = crate::report::progress::page(&record, None, links, now)
        .render()
        .unwrap();
    let style = (
        "edition.css".to_owned(),
        crate::report::edition::STYLE.as_bytes().to_vec(),
    );
    let shown = ("index.html".to_owned(), page.clone().into_bytes());
    let files = [style, shown].map(|(path, bytes)| {
        let media_type = String::new();
        (
            path.clone(),
            File {
                path,
                media_type,
                bytes,
            },
        )
    });
    keep_for_looking("progress", &BTreeMap::from(files));
    for specimen in &record.specimens {
        assert!(!page.contains(specimen.code.as_str()), "{}", specimen.code);
    }
    for piece in record.consignments.iter().flat_map(|c| &c.pieces) {
        assert!(!page.contains(&piece.blind.to_string()));
    }
    assert!(page.contains("4 March 2025") && page.contains(&record.seal.unwrap().sha256));
    // What is on the way to a lab, or back, must not change a byte.
    let mut later = study();
    later.consignments.clear();
    for specimen in &mut later.specimens {
        specimen.in_at = None;
        specimen.recovery = None;
    }
    let links = crate::report::progress::Links {
        photographs: String::new(),
        stylesheet: "edition.css".into(),
        home: "/".into(),
        feed: "/studies/x/feed.atom".into(),
        plan: None,
    };
    assert_eq!(
        page,
        crate::report::progress::page(&later, None, links, now)
            .render()
            .unwrap()
    );
}

//! Pages that would be too large.

use scraper::{Html, Selector};

use super::{edition, rendered, text};
use crate::analysis::analyse;
use crate::analysis::groups::GroupFinding;
use crate::analysis::tests::build::a_study;
use crate::study::plan::{Environment, Response};

#[test]
fn a_study_of_a_thousand_pieces_still_fits_a_page() {
    let loads: Vec<f64> = (0..250).map(|n| 300.0 + f64::from(n % 37)).collect();
    let study = a_study()
        .condition("rain barrel", Environment::FreshWater, 1)
        .condition("garden bed", Environment::Soil, 1)
        .stage(90)
        .broke_after("c1", 90, &loads[..166])
        .broke_after("c2", 90, &loads[..166])
        .broke_after("c3", 90, &loads[..166])
        .broke("c1", &loads[..170])
        .broke("c2", &loads[..170])
        .broke("c3", &loads[..170])
        .masses(|n| (5.0 + (n % 7) as f64 / 100.0, 4.98 + (n % 9) as f64 / 100.0));
    let files = edition(&study.build());
    let page = text(&files, "index.html");
    assert!(page.len() < 100_000, "{} bytes", page.len());
    assert!(
        page.contains("<img class=\"chart\" src=\"figure-"),
        "some figures are files"
    );
}

#[test]
fn a_page_of_many_sets_gives_its_table_of_pieces_away_and_keeps_the_figure_that_decides() {
    let mut study = a_study().stage(90);
    for at in 2..=8 {
        let name = format!("wall {at}");
        study = study.condition(&name, Environment::Outdoor, 3);
    }
    let loads: Vec<f64> = (0..7).map(|n| 300.0 + f64::from(n % 5)).collect();
    for at in 1..=8 {
        let condition = format!("c{at}");
        study = study
            .broke_after(&condition, 90, &loads)
            .broke(&condition, &loads);
    }
    let study = study.masses(|n| (5.0 + (n % 7) as f64 / 100.0, 4.98 + (n % 9) as f64 / 100.0));
    let record = study.build();
    let mut findings = analyse(&record).unwrap();
    // As many sides were measured: a column each in the table of every piece.
    let group = findings.groups[0].clone();
    findings.groups.extend((1..=40).map(|n| GroupFinding {
        response: Response::LengthChange(format!("side {n}")),
        ..group.clone()
    }));
    let files = rendered(&record, &findings);
    let page = text(&files, "index.html");
    assert!(page.len() < 100_000, "{} bytes", page.len());
    assert!(page.contains("href=\"tables.html#every-piece\""));
    let apart = Html::parse_document(&text(&files, "tables.html"));
    let rows =
        Selector::parse("#every-piece, section[aria-labelledby=every-piece] tbody tr").unwrap();
    assert_eq!(apart.select(&rows).count(), 1 + 112);
    let decides = Selector::parse("main figure").unwrap();
    let page = Html::parse_document(&page);
    let first = page.select(&decides).next().unwrap();
    assert!(
        first
            .select(&Selector::parse("svg.chart").unwrap())
            .next()
            .is_some(),
        "drawn within"
    );
}

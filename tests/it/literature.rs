//! Figures that others published: entered with their citation or not at all, drawn beside the study's own,
//! taken off again with a reason.

use crate::house::desk::{Desk, SLUG};
use crate::house::told;

const FIGURE: [(&str, &str); 6] = [
    ("property", "strength"),
    ("material", "starch plastic, bars"),
    ("environment", "soil"),
    ("days", "200"),
    ("retention", "71,5"),
    ("citation", "Nobody, N.: Never printed, 2019"),
];

fn with(changed: (&'static str, &'static str)) -> Vec<(&'static str, &'static str)> {
    let others = FIGURE.into_iter().filter(|(name, _)| *name != changed.0);
    others.chain([changed]).collect()
}

#[tokio::test]
async fn a_published_figure_needs_its_citation_and_keeps_what_was_typed() {
    let desk = Desk::ready().await;
    for (field, value) in [
        ("citation", ""),
        ("days", "-3"),
        ("retention", "a bit"),
        ("link", "javascript:alert(1)"),
        ("property", "beauty"),
    ] {
        let shown = desk.submit("literature", &with((field, value))).await;
        assert!(!shown.refused().fault(field).is_empty(), "{field}");
        assert!(
            shown.body().contains("starch plastic, bars"),
            "as it was typed"
        );
    }
    assert!(desk.record().await.cited.is_empty());
    desk.submit("literature", &FIGURE).await.is(303);
    let record = desk.record().await;
    assert_eq!(record.cited.len(), 1);
    assert!((record.cited[0].figure.retention_percent - 71.5).abs() < 1e-9);
    let page = desk.open("literature").await;
    assert!(
        page.ok()
            .text(".list")
            .contains("71.5 % of strength or maximum load left after 200 days")
    );

    let void = format!("entries/{}/void", record.cited[0].entry);
    desk.open(&void).await.ok();
    let done = desk
        .submit(&void, &[("reason", "Read off the wrong table.")])
        .await;
    done.is(303);
    assert_eq!(done.header("location"), format!("/desk/{SLUG}/literature"));
    assert_eq!(desk.record().await.current_cited().count(), 0);
}

#[tokio::test]
async fn an_edition_draws_them_beside_the_studys_own_with_their_sources() {
    let (server, _steward) = told::served().await;
    let page = server
        .stranger()
        .open("/studies/fleece-pegs/editions/1/")
        .await;
    let page = page.ok();
    assert_eq!(
        page.texts("section[aria-labelledby=literature] ol li")
            .len(),
        3
    );
    let rows = page.texts("#cited ~ .wide tbody tr");
    assert_eq!(rows.len(), 3, "{rows:?}");
    let body = page.body();
    assert!(body.contains("Made up for this demo"));
    let file = "/studies/fleece-pegs/editions/1/figure-literature-strength.svg";
    let figure = server.stranger().open(file).await.ok().body();
    // The study's own and the published ones, each point with its name.
    assert!(
        figure.contains("<title>[1] filled biopolyester"),
        "{figure}"
    );
    assert!(figure.contains("<title>rain barrel, 180 days"), "{figure}");
}

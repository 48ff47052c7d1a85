//! Somebody who goes through the server as people do: from the page before them, by its links and
//! forms only.

use super::{Person, Sheet, Shown};
use reqwest::Url;
use scraper::{Html, Selector};

/// A person with the page before them.
pub struct Visit {
    person: Person,
    at: Url,
    page: Shown,
}

impl Visit {
    /// Opens a path as if it were typed into the address field.
    pub async fn begin(person: Person, base: &str, path: &str) -> Self {
        let at = Url::parse(base).expect("an address");
        let page = person.open("/").await;
        let mut visit = Self { person, at, page };
        visit.go(path).await;
        visit
    }

    /// The page before them.
    pub fn page(&self) -> &Shown {
        &self.page
    }

    /// Its path.
    pub fn path(&self) -> &str {
        self.at.path()
    }

    /// Types a path or an address of this server.
    pub async fn go(&mut self, path: &str) -> &mut Self {
        let target = self.at.join(path).expect("an address");
        let page = self.person.open(&within(&target)).await;
        self.arrive(target, page).await;
        self
    }

    /// Follows the first link whose text holds these words.
    pub async fn follow(&mut self, words: &str) -> &mut Self {
        let found = links(&self.page)
            .into_iter()
            .find(|(text, _)| text.contains(words));
        let (_, href) = found.unwrap_or_else(|| {
            panic!("no link “{words}” on {}: {}", self.at, self.page.body());
        });
        self.go(&href).await
    }

    /// Fills in a form of the page and sends it to where it says; `fill` changes what stands in it.
    /// What comes back, after the redirect of a form that was taken, is the page before them.
    pub async fn send(&mut self, form: &str, fill: impl FnOnce(Sheet) -> Sheet) -> &mut Self {
        let target = self
            .at
            .join(&self.page.attribute(form, "action"))
            .expect("where it goes");
        let sheet = fill(Sheet::of(&self.page, form));
        if self.page.attribute(form, "method") == "get" {
            let target = sheet.query(target);
            return self.go(target.as_str()).await;
        }
        let answer = sheet.send(&self.person, target.path()).await;
        self.arrive(target, answer).await;
        self
    }

    /// The form was taken.
    #[track_caller]
    pub fn done(&mut self) -> &mut Self {
        self.page.ok();
        self
    }

    /// Follows redirects as a browser does.
    async fn arrive(&mut self, mut target: Url, mut page: Shown) {
        for _ in 0..5 {
            if page.status.as_u16() != 303 {
                break;
            }
            target = target.join(page.header("location")).expect("an address");
            page = self.person.open(&within(&target)).await;
        }
        (self.at, self.page) = (target, page);
    }
}

/// Path and query, as a request line holds them.
fn within(target: &Url) -> String {
    match target.query() {
        Some(query) => format!("{}?{query}", target.path()),
        None => target.path().to_owned(),
    }
}

/// Every link of a page: its words, and where it goes.
pub fn links(page: &Shown) -> Vec<(String, String)> {
    let html = Html::parse_document(&page.body());
    let any = Selector::parse("a[href]").expect("a selector");
    let link = |element: scraper::ElementRef<'_>| {
        let words: String = element.text().collect();
        let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
        let href = element.value().attr("href").unwrap_or_default().to_owned();
        (words, href)
    };
    html.select(&any).map(link).collect()
}

//! A form as a browser would send it: read off a page, changed field by field, sent.

use super::{Person, Shown};
use scraper::{ElementRef, Html, Selector};

/// The fields of a form in their order.
#[derive(Debug, Clone)]
pub struct Sheet {
    fields: Vec<(String, String)>,
}

impl Sheet {
    /// The first form that fits, with what stands in it.
    #[track_caller]
    pub fn of(page: &Shown, form: &str) -> Self {
        let html = Html::parse_document(&page.body());
        let form = Selector::parse(form).expect("a selector");
        let form = html.select(&form).next().expect("the page has the form");
        let any = Selector::parse("input, select, textarea").expect("a selector");
        let fields = form.select(&any).filter_map(sent).collect();
        Self { fields }
    }

    /// With another value in a field; a field that is not there yet is added.
    pub fn with(mut self, name: &str, value: &str) -> Self {
        let found = self.fields.iter_mut().find(|(known, _)| known == name);
        match found {
            Some((_, old)) => *old = value.to_owned(),
            None => self.fields.push((name.to_owned(), value.to_owned())),
        }
        self
    }

    /// With another value in a row (from 0) of a repeated field.
    #[track_caller]
    pub fn with_row(mut self, name: &str, row: usize, value: &str) -> Self {
        let mut rows = self.fields.iter_mut().filter(|(known, _)| known == name);
        rows.nth(row).expect("the form has the row").1 = value.to_owned();
        self
    }

    /// With one more value of a field that may stand there several times: another box ticked.
    pub fn and(mut self, name: &str, value: &str) -> Self {
        self.fields.push((name.to_owned(), value.to_owned()));
        self
    }

    /// As the query of an address, for a form that only looks.
    pub fn query(&self, mut address: reqwest::Url) -> reqwest::Url {
        address.query_pairs_mut().clear().extend_pairs(&self.fields);
        address
    }

    /// Without a field: a box that is not ticked.
    pub fn without(mut self, name: &str) -> Self {
        self.fields.retain(|(known, _)| known != name);
        self
    }

    /// What stands in the first field of this name.
    pub fn value(&self, name: &str) -> &str {
        let found = self.fields.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value)
    }

    /// The names of all fields, each once.
    pub fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = self.fields.iter().map(|(name, _)| name.clone()).collect();
        names.sort();
        names.dedup();
        names
    }

    /// Sends it.
    pub async fn send(&self, person: &Person, path: &str) -> Shown {
        let fields: Vec<(&str, &str)> = self
            .fields
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
            .collect();
        person.submit(path, &fields).await
    }
}

/// What a browser sends for a field, when it sends it.
fn sent(field: ElementRef<'_>) -> Option<(String, String)> {
    let element = field.value();
    let name = element.attr("name")?.to_owned();
    let value = match (element.name(), element.attr("type").unwrap_or("text")) {
        ("textarea", _) => field.text().collect(),
        ("select", _) => chosen(field),
        ("input", "radio" | "checkbox") => {
            element.attr("checked")?;
            element.attr("value").unwrap_or("on").to_owned()
        }
        _ => element.attr("value").unwrap_or_default().to_owned(),
    };
    Some((name, value))
}

fn chosen(field: ElementRef<'_>) -> String {
    let of = |selector: &str| {
        let selector = Selector::parse(selector).expect("a selector");
        let option = field.select(&selector).next()?;
        Some(option.value().attr("value").unwrap_or_default().to_owned())
    };
    of("option[selected]")
        .or_else(|| of("option"))
        .unwrap_or_default()
}

//! A steward's phone: a browser of that size with the desk's pages, over a line that can be cut.

use super::desk::Desk;
use super::{Browser, Line, Look, PASSWORD};
use serde_json::json;

/// A steward's phone on a line to the desk's server.
pub struct Phone {
    pub browser: Browser,
    pub line: Line,
    address: String,
}

impl Phone {
    pub async fn at(desk: &Desk) -> Self {
        let address = desk.server.base.trim_start_matches("http://").to_owned();
        let line = Line::to(&address).await;
        let browser = Browser::open(&line.base, Look::PHONE).await;
        let phone = Self {
            browser,
            line,
            address,
        };
        phone.browser.goto("/sign-in").await;
        phone.sign_in().await;
        phone
    }

    pub async fn sign_in(&self) {
        self.browser.type_keys(&format!("runa\t{PASSWORD}\n")).await;
        self.browser.find("a[href='/account']").await;
    }

    /// Waits until every page of today's work is on the phone.
    pub async fn kept(&self) {
        let all = "const kept = document.documentElement.dataset.kept;
            return kept && kept.split(' of ')[0] === kept.split(' of ')[1]";
        self.browser.until(&format!("(() => {{ {all} }})()")).await;
    }

    /// Waits until the phone keeps this page with these words in it.
    pub async fn keeps(&self, page: &str, words: &str) {
        let look = format!(
            "const name = (await caches.keys()).find((name) => name.startsWith('pages-'));
            const kept = name && await (await caches.open(name)).match(location.origin + {page:?});
            return !!kept && (await kept.text()).includes({words:?});"
        );
        for _ in 0..600 {
            if self.browser.run_async(&look).await == json!(true) {
                return;
            }
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        panic!("{page} is never kept with {words}");
    }

    /// Off the air, by the browser's own switch and by the line.
    pub async fn goes_off_the_air(&self) {
        self.line.cut();
        self.switch(true).await;
    }

    /// The line leads to the server again, and nothing tells the browser.
    pub fn is_reached_again(&self) {
        self.line.lead_to(&self.address);
    }

    pub async fn comes_back(&self) {
        self.line.lead_to(&self.address);
        self.switch(false).await;
    }

    pub async fn switch(&self, is_offline: bool) {
        self.browser.command("Network.enable", json!({})).await;
        let rest = json!({
            "offline": is_offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1,
        });
        self.browser
            .command("Network.emulateNetworkConditions", rest)
            .await;
    }

    pub async fn waits(&self, count: usize) {
        let strip = "document.querySelector('.strip')?.dataset";
        self.browser
            .until(&format!("{strip}?.waiting === '{count}'"))
            .await;
    }

    /// So many were recorded on this phone and acknowledged.
    pub async fn has_sent(&self, count: usize) {
        self.browser.has_sent(count).await;
        self.waits(0).await;
    }

    /// So many were acknowledged while so many wait.
    pub async fn has_sent_of(&self, sent: usize, waiting: usize) {
        self.browser.has_sent(sent).await;
        self.waits(waiting).await;
    }

    pub async fn needs_somebody(&self, count: usize) {
        let strip = "document.querySelector('.strip')?.dataset";
        self.browser
            .until(&format!("{strip}?.refused === '{count}'"))
            .await;
    }

    /// The round is ready for this piece.
    pub async fn is_at(&self, code: &str) {
        let there = format!("document.querySelector('[data-piece]').dataset.piece === '{code}'");
        self.browser
            .until(&format!(
                "document.querySelector('[data-ready]') && {there}"
            ))
            .await;
    }

    pub async fn says(&self, words: &str) {
        let page = "document.body.innerText";
        self.browser
            .until(&format!("{page}.includes({words:?})"))
            .await;
    }

    pub async fn tap(&self, selector: &str) {
        // While something is sent the strip grows and shrinks, and with it what is in sight.
        self.browser
            .until("overwinter.send.status.word !== 'sending'")
            .await;
        let found = self.browser.find(selector).await;
        let middle =
            format!("document.querySelector({selector:?}).scrollIntoView({{ block: 'center' }})");
        self.browser.run(&middle).await;
        found.click().await.expect("it is tapped");
    }

    /// Sets this phone's clock to the server's, some hours off. The test's server stands at March 2026, so
    /// that a browser's own clock is months ahead of it.
    pub async fn sets_its_clock(&self, desk: &Desk, hours: i64) {
        let server = desk.server.app.clock.now().timestamp_millis();
        let shift = format!(
            "const Real = Date, off = {server} + {hours} * 3600e3 - {};
            Date = class extends Real {{
                constructor(...given) {{ if (given.length) super(...given); else super(Real.now() + off); }}
                static now() {{ return Real.now() + off; }}
            }};",
            chrono::Utc::now().timestamp_millis()
        );
        let source = json!({ "source": shift });
        self.browser
            .command("Page.addScriptToEvaluateOnNewDocument", source)
            .await;
    }

    /// Fills in a field.
    pub async fn types(&self, selector: &str, text: &str) {
        let field = self.browser.find(selector).await;
        field.clear().await.expect("it is emptied");
        field.send_keys(text).await.expect("it takes keys");
    }

    /// Sets a field for a day and time, whose keys differ from place to place.
    pub async fn sets_moment(&self, selector: &str, text: &str) {
        let script = format!(
            "const field = document.querySelector({selector:?});
            field.value = {text:?};
            field.dispatchEvent(new Event('input', {{ bubbles: true }}));"
        );
        self.browser.run(&script).await;
    }

    /// Chooses one of a list by its value.
    pub async fn chooses(&self, selector: &str, value: &str) {
        let list = self.browser.find(selector).await;
        list.select_by_value(value).await.expect("it is chosen");
    }
}

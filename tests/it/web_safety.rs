//! What every answer carries, and what is refused before any page sees it.

use crate::house::{PASSWORD, TestServer};
use reqwest::Method;
use std::io::{Read, Write};

#[tokio::test]
async fn every_kind_of_answer_carries_the_same_strict_headers() {
    let server = TestServer::start().await;
    let somebody = server.stranger();
    let css = somebody
        .open("/")
        .await
        .attribute("link[rel=stylesheet]", "href");
    for path in [
        "/",
        "/sign-in",
        "/healthz",
        "/no-such-page",
        "/account",
        css.as_str(),
    ] {
        let shown = somebody.open(path).await;
        let policy = shown.header("content-security-policy");
        // MDN and W3C CSP 3: default-src is the fallback of every fetch directive left out, and
        // does not cover form-action, base-uri and frame-ancestors, which must be named.
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ] {
            assert!(
                policy.split("; ").any(|found| found == part),
                "{path}: {part}: {policy}"
            );
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(shown.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(shown.header("referrer-policy"), "same-origin", "{path}");
    }
    assert_eq!(
        somebody
            .open("/lab/x/enter/y")
            .await
            .header("referrer-policy"),
        "no-referrer"
    );
}

#[tokio::test]
async fn no_page_holds_a_script_or_a_style_of_its_own() {
    let server = TestServer::start().await;
    let (ada, eve) = (server.steward("ada").await, server.stranger());
    for page in [
        ada.open("/").await,
        ada.open("/account").await,
        eve.open("/sign-in").await,
    ] {
        assert!(
            page.ok()
                .texts("style, script:not([src]), [style], [onclick]")
                .is_empty()
        );
    }
}

#[tokio::test]
async fn a_static_file_is_kept_for_good_and_only_under_its_own_hash() {
    let server = TestServer::start().await;
    let somebody = server.stranger();
    let css = somebody
        .open("/")
        .await
        .attribute("link[rel=stylesheet]", "href");
    let sheet = somebody.open(&css).await;
    assert_eq!(sheet.ok().header("content-type"), "text/css; charset=utf-8");
    assert_eq!(
        sheet.header("cache-control"),
        "public, max-age=31536000, immutable"
    );
    somebody
        .open("/static/0000000000000000/app.css")
        .await
        .is(404);
}

#[tokio::test]
async fn a_form_from_another_site_does_nothing() {
    let server = TestServer::start().await;
    let ada = server.steward("ada").await;
    for (name, value) in [
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
        ("origin", "https://evil.example"),
        ("origin", "null"),
    ] {
        let request = ada.request(Method::POST, "/sign-out").header(name, value);
        let refused = ada.send(request).await;
        assert_eq!(refused.is(403).text("h1"), "Sent from another site");
        ada.open("/account").await.ok();
    }
    let own = server.base.clone();
    let request = ada.request(Method::POST, "/sign-out").header("origin", own);
    ada.send(request).await.redirects_to("/sign-in");
}

#[tokio::test]
async fn cookies_are_secure_behind_tls_and_out_of_reach_of_scripts_always() {
    let https = "https://studies.example.org";
    let server = TestServer::start_with(|c| c.public_url = https.parse().ok()).await;
    let ada = server.with_account("ada").await;
    let answer = ada.sign_in("ada", PASSWORD).await;
    let cookie = answer.cookie("session");
    assert!(
        cookie.ends_with("; HttpOnly; SameSite=Lax; Secure"),
        "{cookie}"
    );
    assert!(cookie.contains("; Path=/;"), "{cookie}");

    let server = TestServer::start().await;
    let ada = server.with_account("ada").await;
    let answer = ada.sign_in("ada", PASSWORD).await;
    let cookie = answer.cookie("session");
    assert!(cookie.ends_with("; HttpOnly; SameSite=Lax"), "{cookie}");
}

#[tokio::test]
async fn the_cookie_is_nowhere_in_the_database() {
    let server = TestServer::start().await;
    let ada = server.with_account("ada").await;
    let answer = ada.sign_in("ada", PASSWORD).await;
    let cookie = answer.cookie("session");
    let token = cookie
        .trim_start_matches("session=")
        .split(';')
        .next()
        .unwrap();
    assert_eq!(token.len(), 64);
    let raw: Vec<u8> = (0..32)
        .map(|at| u8::from_str_radix(&token[at * 2..at * 2 + 2], 16).unwrap())
        .collect();
    for file in std::fs::read_dir(server.app.store.folder()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        let holds = |wanted: &[u8]| bytes.windows(wanted.len()).any(|part| part == wanted);
        assert!(!holds(token.as_bytes()) && !holds(&raw) && !holds(PASSWORD.as_bytes()));
    }
}

#[tokio::test]
async fn a_body_over_the_limit_gets_a_page_that_says_so() {
    let server = TestServer::start().await;
    let somebody = server.stranger();
    let fits = "a".repeat(1024 * 1024);
    let page = somebody
        .submit("/sign-in", &[("name", &fits), ("password", "x")])
        .await;
    assert!(page.refused().fault("name").contains("longer than"));
    let over = "a".repeat(5 * 1024 * 1024);
    let page = somebody
        .submit("/sign-in", &[("name", &over), ("password", "x")])
        .await;
    assert_eq!(page.is(413).text("h1"), "Too large");
}

/// Browsers read an answer only once they have sent everything: a server that hangs up at the limit
/// shows them a broken line instead of the page.
#[tokio::test]
async fn a_browser_that_sends_everything_first_still_gets_the_page() {
    let server = TestServer::start().await;
    let address = server.base.trim_start_matches("http://").to_owned();
    let sending = tokio::task::spawn_blocking(move || {
        let mut line = std::net::TcpStream::connect(&address).unwrap();
        let body = vec![b'a'; 8 * 1024 * 1024];
        write!(
            line,
            "POST /sign-in HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nContent-Length: \
             {}\r\nContent-Type: application/x-www-form-urlencoded\r\n\r\n",
            body.len()
        )
        .unwrap();
        line.write_all(&body).expect("the server takes everything");
        let mut answer = String::new();
        line.read_to_string(&mut answer).expect("and answers");
        answer
    });
    let answer = sending.await.unwrap();
    assert!(answer.starts_with("HTTP/1.1 413"), "{answer}");
}

#[tokio::test]
async fn a_body_of_another_kind_is_refused_in_words() {
    let server = TestServer::start().await;
    let somebody = server.stranger();
    let request = somebody.request(Method::POST, "/sign-in").body("{}");
    let page = somebody
        .send(request.header("content-type", "application/json"))
        .await;
    assert_eq!(page.is(415).text("h1"), "Not readable here");
}

#[tokio::test]
async fn forwarded_addresses_are_believed_only_from_the_trusted_proxy() {
    for (trusted, third) in [(true, 422), (false, 429)] {
        let server = TestServer::start_with(|config| {
            if trusted {
                config.trusted_proxy.push([127, 0, 0, 1].into());
            }
        })
        .await;
        let somebody = server.stranger();
        for guess in 0..21_u8 {
            let fields = [
                ("name", format!("name-{guess}")),
                ("password", "a guess".into()),
            ];
            let request = somebody.request(Method::POST, "/sign-in").form(&fields);
            let from = format!("203.0.113.{guess}");
            let shown = somebody.send(request.header("x-forwarded-for", from)).await;
            shown.is(if guess == 20 { third } else { 422 });
        }
    }
}

/// Sends the start of a request and then nothing; gives what the server answers before it hangs up.
async fn falls_silent_after(address: String, start: &'static str) -> String {
    let silence = tokio::task::spawn_blocking(move || {
        let mut line = std::net::TcpStream::connect(&address).unwrap();
        let minute = std::time::Duration::from_secs(60);
        line.set_read_timeout(Some(minute)).unwrap();
        line.write_all(start.as_bytes()).unwrap();
        let mut answer = String::new();
        let _broken_is_hung_up_too = line
            .read_to_string(&mut answer)
            .inspect_err(|cause| assert_ne!(cause.kind(), std::io::ErrorKind::WouldBlock));
        answer
    });
    silence.await.unwrap()
}

/// Whoever dribbles a request holds neither a connection nor a handler for ever.
#[tokio::test]
async fn a_sender_who_falls_silent_is_not_waited_for() {
    let server = TestServer::start().await;
    let address = server.base.trim_start_matches("http://").to_owned();
    let head = falls_silent_after(address.clone(), "GET / HTTP/1.1\r\nHost: a");
    let body = falls_silent_after(
        address,
        "POST /sign-in HTTP/1.1\r\nHost: a\r\nConnection: close\r\nContent-Type: \
         application/x-www-form-urlencoded\r\nContent-Length: 40\r\n\r\nname=ada",
    );
    let (head, body) = tokio::join!(head, body);
    assert_eq!(head, "", "nothing was asked yet");
    assert!(body.starts_with("HTTP/1.1 503"), "{body}");
    assert!(body.to_lowercase().contains("retry-after:"), "{body}");
    server.stranger().open("/").await.ok();
}

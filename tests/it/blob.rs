//! Files by their content: kept once, found by their hash, too large refused by the table itself.

use crate::house::TestServer;
use overwinter::clock::hex;
use overwinter::store::{Blob, MAX_BLOB_BYTES};

fn text(bytes: &[u8]) -> Blob {
    Blob {
        media_type: "text/plain".into(),
        bytes: bytes.to_vec(),
    }
}

#[tokio::test]
async fn a_file_is_found_by_the_sha_256_of_its_bytes() {
    let server = TestServer::start().await;
    let store = &server.app.store;
    // NIST FIPS 180-4 example (CSRC "SHA-256 example", one block): "abc".
    let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    let hash = store.put_blob(&text(b"abc")).await.unwrap();
    assert_eq!(hex(&hash), abc);
    let other = store.put_blob(&text(b"abd")).await.unwrap();
    assert_eq!(
        store.put_blob(&text(b"abc")).await.unwrap(),
        hash,
        "the same again"
    );
    assert_eq!(store.find_blob(&hash).await.unwrap(), Some(text(b"abc")));
    assert_eq!(store.find_blob(&other).await.unwrap(), Some(text(b"abd")));
    assert_eq!(store.find_blob(&[0; 32]).await.unwrap(), None);
}

#[tokio::test]
async fn a_file_over_the_limit_is_refused_and_one_at_the_limit_is_kept() {
    let server = TestServer::start().await;
    let store = &server.app.store;
    assert!(
        store
            .put_blob(&text(&vec![1; MAX_BLOB_BYTES]))
            .await
            .is_ok()
    );
    assert!(
        store
            .put_blob(&text(&vec![2; MAX_BLOB_BYTES + 1]))
            .await
            .is_err()
    );
}

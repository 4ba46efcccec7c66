//! The library of Noise, as this workspace builds it, against the published test vectors of another implementation, cacophony; they come with the
//! library's own source. They hold no vector for the very pattern in use, XXpsk0, so here are all of the same curve, cipher and hash, with a
//! pre-shared key at the beginning and with the pattern XX among them; XXpsk0 itself is held against a second implementation in
//! `tests/checks/test_session.py`.

use serde_json::Value;
use snow::{Builder, HandshakeState};
use std::path::PathBuf;
use std::process::Command;

const SUITE: &str = "25519_ChaChaPoly_BLAKE2s";

fn vectors() -> Vec<Value> {
    let manifest = concat!(env!("CARGO_MANIFEST_DIR"), "/../Cargo.toml");
    let line = ["metadata", "--format-version", "1", "--locked", "--manifest-path", manifest];
    let output = Command::new(env!("CARGO")).args(line).output().unwrap();
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    let snow = packages.iter().find(|p| p["name"] == "snow").unwrap();
    let folder = PathBuf::from(snow["manifest_path"].as_str().unwrap());
    let text = std::fs::read_to_string(folder.with_file_name("tests/vectors/cacophony.txt")).unwrap();
    let read: Value = serde_json::from_str(&text).unwrap();
    read["vectors"].as_array().unwrap().clone()
}

fn bytes(value: &Value) -> Option<Vec<u8>> {
    let text = value.as_str()?;
    Some((0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).unwrap()).collect())
}

/// One side, with the keys that a vector gives it.
fn side(vector: &Value, side: &str) -> HandshakeState {
    let name = vector["protocol_name"].as_str().unwrap();
    let key = |field: &str| bytes(&vector[format!("{side}_{field}")]);
    let (ephemeral, own, theirs) = (key("ephemeral"), key("static"), key("remote_static"));
    let psks: Vec<[u8; 32]> = vector[format!("{side}_psks")]
        .as_array()
        .map(|all| all.iter().map(|k| bytes(k).unwrap().try_into().unwrap()).collect())
        .unwrap_or_default();
    let prologue = key("prologue").unwrap_or_default();
    let mut builder = Builder::new(name.parse().unwrap()).prologue(&prologue).unwrap();
    if let Some(key) = &ephemeral {
        builder = builder.fixed_ephemeral_key_for_testing_only(key);
    }
    if let Some(key) = &own {
        builder = builder.local_private_key(key).unwrap();
    }
    if let Some(key) = &theirs {
        builder = builder.remote_public_key(key).unwrap();
    }
    let places: Vec<u8> = name.split("psk").skip(1).map(|rest| rest.as_bytes()[0] - b'0').collect();
    for (place, psk) in places.iter().zip(&psks) {
        builder = builder.psk(*place, psk).unwrap();
    }
    if side == "init" { builder.build_initiator().unwrap() } else { builder.build_responder().unwrap() }
}

#[test]
fn the_published_vectors_of_the_same_curve_cipher_and_hash() {
    let of_suite = |v: &&Value| v["protocol_name"].as_str().unwrap().ends_with(SUITE);
    let all = vectors();
    let vectors: Vec<&Value> = all.iter().filter(of_suite).collect();
    let names: Vec<&str> = vectors.iter().map(|v| v["protocol_name"].as_str().unwrap()).collect();
    for wanted in ["Noise_XX_", "Noise_XXpsk3_", "Noise_NNpsk0_", "Noise_KKpsk0_"] {
        assert!(names.iter().any(|n| n.starts_with(wanted)), "{wanted}: {names:?}");
    }
    let mut messages = 0;
    for vector in vectors {
        let name = vector["protocol_name"].as_str().unwrap();
        let (mut caller, mut called) = (side(vector, "init"), side(vector, "resp"));
        let mut buffer = [0; 65_535];
        let mut read = [0; 65_535];
        let list = vector["messages"].as_array().unwrap();
        let mut at = 0;
        while !caller.is_handshake_finished() {
            let (from, to) =
                if at % 2 == 0 { (&mut caller, &mut called) } else { (&mut called, &mut caller) };
            let (payload, expected) =
                (bytes(&list[at]["payload"]).unwrap(), bytes(&list[at]["ciphertext"]).unwrap());
            let n = from.write_message(&payload, &mut buffer).unwrap();
            assert_eq!(buffer[..n], expected, "{name}, message {at}");
            let n = to.read_message(&buffer[..n], &mut read).unwrap();
            assert_eq!(read[..n], payload, "{name}, message {at}");
            at += 1;
        }
        let hash = bytes(&vector["handshake_hash"]).unwrap();
        assert_eq!(
            (caller.get_handshake_hash(), called.get_handshake_hash()),
            (&hash[..], &hash[..]),
            "{name}"
        );
        let (mut caller, mut called) =
            (caller.into_transport_mode().unwrap(), called.into_transport_mode().unwrap());
        for (i, message) in list.iter().enumerate().skip(at) {
            // In a pattern of one message only the caller goes on.
            let (from, to) =
                if i % 2 == 0 || at == 1 { (&mut caller, &mut called) } else { (&mut called, &mut caller) };
            let (payload, expected) =
                (bytes(&message["payload"]).unwrap(), bytes(&message["ciphertext"]).unwrap());
            let n = from.write_message(&payload, &mut buffer).unwrap();
            assert_eq!(buffer[..n], expected, "{name}, message {i}");
            let n = to.read_message(&buffer[..n], &mut read).unwrap();
            assert_eq!(read[..n], payload, "{name}, message {i}");
        }
        messages += list.len();
    }
    assert!(messages > 100, "{messages}");
}

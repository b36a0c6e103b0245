//! Where the bench page is, as words and as a picture for a tablet's camera.

use std::io::Write;
use std::process::ExitCode;

use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;

use super::acts::client;
use super::args::Place;
use crate::web::page::Address;

pub async fn run(at: Place) -> anyhow::Result<ExitCode> {
    let address: Address = client(&at).get("/page").await?;
    show(&address)?;
    Ok(ExitCode::SUCCESS)
}

pub fn show(address: &Address) -> anyhow::Result<()> {
    let mut out = std::io::stdout();
    let mut urls = address.urls.iter();
    if let Some(here) = urls.next() {
        writeln!(out, "The bench page: {here}")?;
    }
    if let Some(fingerprint) = &address.fingerprint {
        writeln!(
            out,
            "Its certificate is this bench's own, so a browser warns of it once. Go on only if it \
             shows this SHA-256 fingerprint:\n{fingerprint}"
        )?;
    }
    let Some(code) = &address.code else { return Ok(()) };
    for far in urls {
        writeln!(out, "From another screen in the house: {far} with the code {}", spaced(code))?;
        writeln!(out, "\n{}\n", picture(&format!("{far}pair?code={code}"))?)?;
    }
    if address.fingerprint.is_none() {
        writeln!(
            out,
            "What such a screen sends travels unencrypted: pair it only in a network you trust, or \
             serve with --tls."
        )?;
    }
    Ok(())
}

/// Four letters are read at a glance, eight are not.
fn spaced(code: &str) -> String {
    let (first, rest) = code.split_at(code.len() / 2);
    format!("{first} {rest}")
}

/// Light modules drawn, since most terminals are dark; the quiet zone is part of it.
fn picture(text: &str) -> anyhow::Result<String> {
    let code = QrCode::new(text)?;
    let drawn = code
        .render::<Dense1x2>()
        .dark_color(Dense1x2::Light)
        .light_color(Dense1x2::Dark)
        .quiet_zone(true)
        .build();
    Ok(drawn)
}

//! Bytes as a maker writes them in a sheet: plain text, with `\r`, `\n`, `\t`, `\\` and `\x02`.

/// # Errors
/// A backslash that begins none of these, or hex that is none.
pub fn unescape(text: &str) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((&byte, tail)) = rest.split_first() {
        rest = tail;
        if byte != b'\\' {
            bytes.push(byte);
            continue;
        }
        let (&kind, tail) = rest.split_first().ok_or("a single `\\` at the end; write `\\\\`")?;
        rest = tail;
        match kind {
            b'r' => bytes.push(b'\r'),
            b'n' => bytes.push(b'\n'),
            b't' => bytes.push(b'\t'),
            b'0' => bytes.push(0),
            b'\\' => bytes.push(b'\\'),
            b'x' => {
                let digits = rest.get(..2).and_then(|digits| std::str::from_utf8(digits).ok());
                let value = digits.and_then(|digits| u8::from_str_radix(digits, 16).ok());
                bytes.push(value.ok_or("`\\x` wants two hex digits, like `\\x02`")?);
                rest = &rest[2..];
            }
            other => return Err(format!("`\\{}` means nothing here", char::from(other))),
        }
    }
    Ok(bytes)
}

/// The other way round: every byte visible.
pub fn escape(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len());
    for &byte in bytes {
        match byte {
            b'\r' => text.push_str("\\r"),
            b'\n' => text.push_str("\\n"),
            b'\t' => text.push_str("\\t"),
            b'\\' => text.push_str("\\\\"),
            b' '..=b'~' => text.push(char::from(byte)),
            other => text.push_str(&format!("\\x{other:02X}")),
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn all_bytes_come_back(bytes in prop::collection::vec(any::<u8>(), 0..60)) {
            prop_assert_eq!(unescape(&escape(&bytes)).unwrap(), bytes);
        }

        #[test]
        fn no_text_panics(text in "\\PC{0,40}") {
            let _ = unescape(&text);
        }
    }

    #[test]
    fn bad_escapes_say_what_is_wanted() {
        assert_eq!(unescape("\\x2").unwrap_err(), "`\\x` wants two hex digits, like `\\x02`");
        assert_eq!(unescape("\\q").unwrap_err(), "`\\q` means nothing here");
    }
}

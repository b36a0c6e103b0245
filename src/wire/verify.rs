//! Which part of a frame carries the text, and whether its check agrees.

use super::bytes::escape;
use super::decode::Refusal;
use super::sheet::{Check, Shape};

/// The part of a frame between its marks.
pub(super) fn inner<'a>(shape: &Shape, frame: &'a [u8]) -> &'a [u8] {
    match shape {
        Shape::Between { end, tail, .. } => {
            let without_tail = &frame[..frame.len().saturating_sub(*tail)];
            let without_end = without_tail.strip_suffix(&[*end]).unwrap_or(without_tail);
            without_end.get(1..).unwrap_or(&[])
        }
        _ => frame,
    }
}

/// The text of a frame whose check agrees: what lies between its marks and before its check.
pub(super) fn text<'a>(
    shape: &Shape,
    check: Option<&Check>,
    frame: &'a [u8],
) -> Result<&'a [u8], Refusal> {
    let Some(check) = check else { return Ok(inner(shape, frame)) };
    let (covered, text, written) = parts(shape, check, frame).ok_or(Refusal::TooShort)?;
    let due = check.kind.of(covered);
    let due = if check.hex { hex(&due) } else { due };
    let agrees =
        if check.hex { written.eq_ignore_ascii_case(&due) } else { written == due.as_slice() };
    if !agrees {
        return Err(Refusal::BadChecksum { expected: escape(&due), found: escape(written) });
    }
    Ok(text)
}

/// What the check covers, the text, and the check as written.
fn parts<'a>(
    shape: &Shape,
    check: &Check,
    frame: &'a [u8],
) -> Option<(&'a [u8], &'a [u8], &'a [u8])> {
    let width = check.kind.width() * if check.hex { 2 } else { 1 };
    if let Shape::Between { tail, .. } = shape {
        let at = frame.len().checked_sub(*tail)?;
        let (body, written) = frame.split_at(at);
        let text = inner(shape, frame).get(check.skip..)?;
        return Some((if check.marks { body } else { text }, text, written));
    }
    let at = frame.len().checked_sub(width)?;
    let (body, written) = frame.split_at(at);
    let body = match check.mark {
        Some(mark) => body.strip_suffix(&[mark])?,
        None => body,
    };
    let text = body.get(check.skip..)?;
    Some((text, text, written))
}

fn hex(bytes: &[u8]) -> Vec<u8> {
    bytes.iter().flat_map(|byte| format!("{byte:02X}").into_bytes()).collect()
}

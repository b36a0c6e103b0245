use thiserror::Error;
use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

use super::entry::text_of;
use super::{Entry, Key, Kind, MASS, Part, SHARE};

#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum EditError {
    /// A broken file has to be mended by hand: what its parts are is not known.
    #[error("the file is no TOML and cannot be edited here: {0}")]
    NoToml(String),
    /// The form was made from another file than this.
    #[error("row {row} of `{part}` is not in the file")]
    NoSuchRow { part: &'static str, row: usize },
}

/// The file as it is with the form's fields in it. Remarks, order and what the form does not name
/// stay; an empty text leaves the empty file's new one in the order of `part`.
///
/// # Errors
/// When the text is no TOML, or not the one the form was made from.
pub fn write(text: &str, part: &Part, entry: &Entry) -> Result<String, EditError> {
    let mut document: DocumentMut =
        text.parse().map_err(|error: toml_edit::TomlError| EditError::NoToml(error.to_string()))?;
    fill_table(document.as_table_mut(), part, entry)?;
    Ok(document.to_string())
}

fn fill_table(table: &mut Table, part: &Part, entry: &Entry) -> Result<(), EditError> {
    let before: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
    fill_keys(table, part, entry);
    for inner in part.parts {
        let rows: Vec<&Entry> = entry.rows(inner.key).iter().filter(|e| !e.is_blank()).collect();
        if inner.many {
            fill_rows(table, inner, &rows)?;
        } else if let Some(row) = rows.first() {
            fill_single(table, inner, row)?;
        } else {
            table.remove(inner.key);
        }
    }
    put_in_order(table, part, before);
    Ok(())
}

fn fill_keys(table: &mut dyn TableLike, part: &Part, entry: &Entry) {
    for key in part.keys {
        let text = entry.get(key.key);
        if key.kind == Kind::ShareOrMass {
            let is_share = text.contains('%');
            let (chosen, other) = if is_share { (SHARE, MASS) } else { (MASS, SHARE) };
            // both in one row is a mistake of the file; the reader tells it until one is chosen
            table.remove(other);
            put(table, chosen, key, text);
        } else {
            put(table, key.key, key, text);
        }
    }
}

fn put(table: &mut dyn TableLike, file_key: &str, key: &Key, text: &str) {
    if text.is_empty() {
        table.remove(file_key);
        return;
    }
    let mut value = value_of(key.kind, text);
    match table.get_mut(file_key).and_then(Item::as_value_mut) {
        Some(old) if text_of(old) == text => {}
        Some(old) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => {
            table.insert(file_key, Item::Value(value));
        }
    }
}

fn value_of(kind: Kind, text: &str) -> Value {
    match kind {
        Kind::Words | Kind::ShareOrMass => text.into(),
        Kind::Number => text
            .parse::<i64>()
            .map(Value::from)
            .or_else(|_| text.parse::<f64>().map(Value::from))
            // not-a-number and endless ones are words to the reader, which refuses them
            .ok()
            .filter(|value| value.as_float().is_none_or(f64::is_finite))
            .unwrap_or_else(|| text.into()),
        Kind::List => {
            let items = text.split(';').map(str::trim).filter(|item| !item.is_empty());
            Value::Array(items.collect::<Array>())
        }
    }
}

fn fill_single(table: &mut Table, inner: &Part, row: &Entry) -> Result<(), EditError> {
    match table.get_mut(inner.key) {
        Some(Item::Table(existing)) => fill_table(existing, inner, row),
        Some(Item::Value(Value::InlineTable(existing))) => {
            fill_keys(existing, inner, row);
            Ok(())
        }
        _ => {
            let new = new_table(inner, row)?;
            table.insert(inner.key, Item::Table(new));
            Ok(())
        }
    }
}

fn fill_rows(table: &mut Table, inner: &Part, rows: &[&Entry]) -> Result<(), EditError> {
    let mut old: Vec<Option<Table>> = match table.remove(inner.key) {
        Some(Item::ArrayOfTables(rows)) => rows.into_iter().map(Some).collect(),
        Some(Item::Value(Value::Array(rows))) => {
            let tables = rows.into_iter().filter_map(|row| match row {
                Value::InlineTable(row) => Some(row.into_table()),
                _ => None,
            });
            tables.map(Some).collect()
        }
        _ => Vec::new(),
    };
    let order: Vec<usize> = rows.iter().filter_map(|row| row.was).collect();
    let moved = !order.is_sorted();
    let mut new = ArrayOfTables::new();
    for row in rows {
        let Some(was) = row.was else {
            new.push(new_table(inner, row)?);
            continue;
        };
        let kept = old.get_mut(was).and_then(Option::take);
        let mut kept = kept.ok_or(EditError::NoSuchRow { part: inner.key, row: was + 1 })?;
        fill_table(&mut kept, inner, row)?;
        if moved {
            forget_place(&mut kept);
        }
        new.push(kept);
    }
    if !new.is_empty() {
        table.insert(inner.key, Item::ArrayOfTables(new));
    }
    Ok(())
}

fn new_table(inner: &Part, row: &Entry) -> Result<Table, EditError> {
    let mut table = Table::new();
    table.decor_mut().set_prefix("\n");
    fill_table(&mut table, inner, row)?;
    Ok(table)
}

/// Then it stands behind whatever stands before it in the tree.
fn forget_place(table: &mut Table) {
    table.set_position(None);
    for (_, item) in table.iter_mut() {
        match item {
            Item::Table(inner) => forget_place(inner),
            Item::ArrayOfTables(rows) => rows.iter_mut().for_each(forget_place),
            _ => {}
        }
    }
}

/// What was there keeps its order; what is new comes behind the nearest key that stands before it
/// in a file written from the beginning.
fn put_in_order(table: &mut Table, part: &Part, before: Vec<String>) {
    let mut order: Vec<String> = before;
    let mut last: Option<String> = None;
    let either = |key: &Key| match key.kind {
        Kind::ShareOrMass => vec![SHARE, MASS],
        _ => vec![key.key],
    };
    let known = part.keys.iter().flat_map(either).chain(part.parts.iter().map(|inner| inner.key));
    for key in known.filter(|key| table.contains_key(key)) {
        if !order.iter().any(|there| there == key) {
            let at = last.as_ref().and_then(|last| order.iter().position(|there| there == last));
            order.insert(at.map_or(0, |at| at + 1), key.to_owned());
        }
        last = Some(key.to_owned());
    }
    let rank = |key: &str| order.iter().position(|there| there == key);
    table.sort_values_by(|a, _, b, _| rank(a.get()).cmp(&rank(b.get())));
}

#[cfg(test)]
mod tests;

use std::sync::{Mutex, PoisonError};

use crate::quantity::{Moment, Span};
use crate::wire::{Command, Sheet};

/// What one instrument is to be told, beside the questions of its sheet: by a person, and by
/// itself so that it does not fall asleep.
#[derive(Debug, Default)]
pub struct Orders {
    /// Keep it awake this often.
    keep_awake: Option<Span>,
    given: Mutex<Option<(Command, Moment)>>,
}

/// A command that could not be written within this is not written any more: the person who gave it
/// has turned to something else, and so may the pan have.
const STALE_AFTER: Span = Span::from_secs(2);

impl Orders {
    pub fn new(keep_awake: Option<Span>) -> Orders {
        Orders { keep_awake, given: Mutex::default() }
    }

    /// Has the command written once the line is free. One that is given again before that is one.
    pub fn give(&self, now: Moment, command: Command) {
        *self.given.lock().unwrap_or_else(PoisonError::into_inner) = Some((command, now));
    }

    fn take(&self, now: Moment) -> Option<Command> {
        let given = self.given.lock().unwrap_or_else(PoisonError::into_inner).take();
        given.filter(|(_, at)| now.since(*at) <= STALE_AFTER).map(|(command, _)| command)
    }
}

/// What is due on one opening of the port.
pub(super) struct Teller<'a> {
    orders: &'a Orders,
    awake_until: Moment,
}

impl<'a> Teller<'a> {
    /// What was given before the port was open is for another pan than that of now.
    pub fn new(orders: &'a Orders, opened: Moment) -> Teller<'a> {
        orders.take(opened);
        let awake_until = orders.keep_awake.map_or(opened, |every| opened + every);
        Teller { orders, awake_until }
    }

    /// The command to write now, with its bytes. One that the sheet does not have is none.
    pub fn due(&mut self, now: Moment, sheet: &Sheet) -> Option<(Command, Vec<u8>)> {
        let bytes = |command| Some((command, sheet.commands.of(command)?.to_vec()));
        if let Some(given) = self.orders.take(now).and_then(bytes) {
            return Some(given);
        }
        let every = self.orders.keep_awake.filter(|_| now >= self.awake_until)?;
        self.awake_until = now + every;
        bytes(Command::KeepAwake)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::SheetLibrary;

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    #[test]
    fn a_command_is_written_once_and_never_late() {
        let library = SheetLibrary::built_in().unwrap();
        let sheet = library.find("letter-answer").unwrap();
        let orders = Orders::default();
        orders.give(at(0), Command::Zero);
        let mut teller = Teller::new(&orders, at(100));
        assert_eq!(teller.due(at(100), sheet), None, "given before the port was open");
        orders.give(at(200), Command::Zero);
        orders.give(at(210), Command::Zero);
        assert_eq!(teller.due(at(300), sheet), Some((Command::Zero, b"Z\r\n".to_vec())));
        assert_eq!(teller.due(at(300), sheet), None);
        orders.give(at(1000), Command::Zero);
        assert!(teller.due(at(3000), sheet).is_some(), "after 2.000 s");
        orders.give(at(4000), Command::Zero);
        assert_eq!(teller.due(at(6001), sheet), None, "after 2.001 s");
        let silent = library.find("comma-status-line").unwrap();
        orders.give(at(7000), Command::Zero);
        assert_eq!(teller.due(at(7000), silent), None, "no such command");
    }

    #[test]
    fn what_would_fall_asleep_is_kept_awake() {
        let library = SheetLibrary::built_in().unwrap();
        let sheet = library.find("letter-answer").unwrap();
        let orders = Orders::new(Some(Span::from_secs(60)));
        let mut teller = Teller::new(&orders, at(0));
        let mut told = |ms| teller.due(at(ms), sheet).map(|(command, _)| command);
        assert_eq!(told(59_999), None);
        assert_eq!(told(60_000), Some(Command::KeepAwake));
        assert_eq!(told(60_001), None);
        assert_eq!(told(119_999), None);
        assert_eq!(told(120_000), Some(Command::KeepAwake));
    }
}

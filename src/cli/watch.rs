use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use super::acts::client;
use super::args;
use super::args::Place;
use super::show;
use crate::bench::{Cue, View, emergency_card};
use crate::web::Event;

/// Cursor home; each line is cleared to its end as it is written, so that nothing flickers.
const HOME: &str = "\x1b[H";
const CLEAR: &str = "\x1b[2J";
const CLEAR_LINE: &str = "\x1b[K";
const CLEAR_BELOW: &str = "\x1b[J";
const WIDTH: usize = 100;

pub async fn run(at: Place, args: args::Watch) -> anyhow::Result<ExitCode> {
    if args.json || args.once {
        let view: View = client(&at).get("/view").await?;
        let mut out = std::io::stdout();
        if args.json {
            writeln!(out, "{}", serde_json::to_string_pretty(&view)?)?;
        } else {
            writeln!(out, "{}", show::lines(&view, WIDTH).join("\n"))?;
        }
        return Ok(ExitCode::SUCCESS);
    }
    let mut screen = Screen::default();
    let mut lost = Ok(());
    client(&at)
        .live(|event| {
            lost = match event {
                Event::View(view) => screen.view(&view),
                Event::Cue(cue) => screen.cue(&cue),
            };
            lost.is_ok()
        })
        .await?;
    lost?;
    // the numbers on the screen are of no moment any more
    anyhow::bail!("the daemon is gone; nothing is watched")
}

/// Cells of a line of this terminal.
fn width() -> usize {
    let size = rustix::termios::tcgetwinsize(std::io::stdout());
    size.map_or(WIDTH, |size| usize::from(size.ws_col).clamp(40, 160))
}

/// A terminal that shows the newest view; a pipe gets a line for each new sentence instead.
pub struct Screen {
    terminal: bool,
    last_cue: Option<String>,
    last_line: String,
}

impl Default for Screen {
    /// As the standard output is: a terminal, or a pipe.
    fn default() -> Screen {
        let terminal = std::io::stdout().is_terminal();
        Screen { terminal, last_cue: None, last_line: String::new() }
    }
}

impl Screen {
    pub fn view(&mut self, view: &View) -> std::io::Result<()> {
        let mut out = std::io::stdout().lock();
        if self.terminal {
            let clear = if self.last_line.is_empty() { CLEAR } else { "" };
            write!(out, "{clear}{HOME}")?;
            let width = width();
            let mut lines = show::lines(view, width);
            if let Some(cue) = &self.last_cue {
                lines.push(String::new());
                lines.extend(show::wrap(cue, width, "  "));
            }
            for line in lines {
                writeln!(out, "{line}{CLEAR_LINE}")?;
            }
            write!(out, "{CLEAR_BELOW}")?;
            "shown".clone_into(&mut self.last_line);
        } else {
            let line = show::one_line(view);
            if line != self.last_line {
                writeln!(out, "{line}")?;
                self.last_line = line;
            }
        }
        out.flush()
    }

    pub fn cue(&mut self, cue: &Cue) -> std::io::Result<()> {
        let mut out = std::io::stdout().lock();
        let words = match cue {
            Cue::Say { words } => words.clone(),
            Cue::Sound { words, .. } => {
                if self.terminal {
                    write!(out, "\x07")?;
                }
                words.clone()
            }
            Cue::Slow => "Slowly.".to_owned(),
            Cue::Stop => "Stop.".to_owned(),
            Cue::Emergency => emergency_card().lines.join("\n  "),
            Cue::Hush => return Ok(()),
        };
        if !self.terminal {
            writeln!(out, "» {words}")?;
        }
        self.last_cue = Some(words);
        out.flush()
    }
}

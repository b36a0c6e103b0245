//! Setting a scale to zero from the page.

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};

use super::instruments::{Asked, show};
use super::recipe::value;
use crate::bench::{Act, Reply, Role, ZeroCame};
use crate::daemon::Desk;
use crate::reading::Channel;
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

/// Each scale, with the button that sets it to zero where its wire sheet has the command.
pub fn scales(desk: &Desk) -> Markup {
    let view = desk.view();
    let scales = view.channels.iter().filter(|known| matches!(known.role, Role::Scale { .. }));
    html! {
        @for scale in scales {
            h2 { "Zero of " (scale.channel.as_str()) }
            @if scale.zeroes {
                form method="post" action="/instruments/zero" {
                    p { "Take everything off the pan and let it come to rest first. Not while something is weighed." }
                    button type="submit" name="channel" value=(scale.channel.as_str()) { "Set to zero" }
                }
            } @else {
                p class="soft" { "Its wire sheet has no command for that: clear the pan and press the zero key on the scale itself." }
            }
        }
    }
}

pub async fn set(
    State(door): State<Door>,
    Filled(pairs): Filled<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let act = Act::Zero { channel: Channel::new(value(&pairs, "channel")) };
    match door.desk.act(act).await.map_err(Failure::unavailable)? {
        Reply::Done | Reply::AlreadyDone => Ok(Redirect::to("/instruments?told=1").into_response()),
        Reply::Refused { words, .. } => {
            let words = format!("not set to zero: {words}");
            let page = show(&door.desk, &Asked::default(), Some(&words)).await?;
            Ok(page.into_response())
        }
    }
}

/// What became of the zero that was last asked for.
pub const fn words(came: Option<ZeroCame>) -> Option<&'static str> {
    match came {
        None => None,
        Some(ZeroCame::Asked) => Some("takes its zero: leave the pan alone"),
        Some(ZeroCame::Taken) => Some("was set to zero"),
        Some(ZeroCame::InDoubt) => Some(
            "may have another zero: clear the pan; if it is bare and shows a weight, press its own \
                  zero key; if it shows nought, put a vessel on and off",
        ),
        Some(ZeroCame::NotTaken) => Some("did not take the zero: clear the pan and ask again"),
    }
}

//! What a batch came to: deviations, times, alarms, superfat, and what stands out.
//!
//! Pure: the shells read the journal and hand over plain values; a review comes back that travels
//! as JSON and prints as text. What is not known stays unknown and prints as "—".

mod alarms;
mod balance;
mod book;
mod charts;
mod evidence;
mod findings;
mod heat;
mod ledger;
mod model;
mod remarks;
mod soap_tests;
mod steps;
mod table;
mod text;
mod thin;
mod unseen;

pub use charts::{Charts, During, HeatChart, PanTrace, PourChart, Spot, charts};
pub use evidence::{Dated, Evidence, Gap, Trace};
pub use ledger::{found, ledger_text};
pub use model::{
    AlarmEnd, AlarmReview, At, Balance, CaptureReview, CookHeat, Extreme, Finding, Grade,
    HeatReview, LiquidReview, LookReview, LostReview, NotedReview, ObservationReview, Remark,
    RemedyReview, Review, StepReview, Unseen, UnseenKind, VesselReview,
};
pub use soap_tests::SoapTestReview;
pub use table::{Side, Table};
pub use text::{Told, outcome_words, text, told};
pub use thin::thinned;

use book::Book;

/// What the evidence says of one batch. `None` when no start of it is among the facts.
pub fn review(evidence: &Evidence) -> Option<Review> {
    let book = Book::open(evidence)?;
    let mut review = Review {
        batch: evidence.batch.clone(),
        recipe: book.control.name.clone(),
        recipe_digest: book.control.recipe_digest.clone(),
        units: book.control.units,
        operator: book.operator(),
        started: book.at(book.started),
        ended: book.closed.map(|closed| book.at(closed)),
        outcome: book.outcome(),
        note: book.note(),
        steps: steps::steps(&book),
        balance: balance::balance(&book),
        alarms: alarms::alarms(&book),
        remedies: remarks::remedies(&book),
        vessels: remarks::vessels(&book),
        heat: heat::heat(&book),
        noted: remarks::noted(&book),
        observations: remarks::observations(&book),
        looks: remarks::looks(&book),
        soap_tests: soap_tests::soap_tests(&book),
        not_passed: Vec::new(),
        remarks: remarks::remarks(&book),
        lost: unseen::lost(&book),
        unseen: unseen::unseen(&book),
        emergencies: remarks::emergencies(&book),
        head: evidence.head.clone(),
        verified: evidence.verified,
        findings: Vec::new(),
    };
    review.not_passed = soap_tests::not_passed(&book, &review.soap_tests);
    review.findings = findings::findings(&review);
    Some(review)
}

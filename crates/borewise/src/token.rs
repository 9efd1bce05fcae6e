//! `borewise token`: tokens by which other programs reach the record. `borewise openapi`: what they can ask.

use clap::{Subcommand, ValueEnum};
use serde_json::{Value as Json, json};
use store::shapes::Role;
use store::{Store, Token};
use web::tokens::{TokenError, Wanted, command_key, make, revoke};

use crate::assess::PROGRAM;
use crate::output::{Failure, Verdict, print};
use crate::record::{Place, failed, take_in};

/// What a program may do.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum May {
    /// Read
    Viewer,
    /// Record readings, treatments and visits
    Technician,
    /// The same, and override a gate with a written reason
    Lead,
}

impl From<May> for Role {
    fn from(may: May) -> Self {
        match may {
            May::Viewer => Self::Viewer,
            May::Technician => Self::Technician,
            May::Lead => Self::Lead,
        }
    }
}

/// Commands about tokens.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Make a token and print it, once
    Add {
        /// Name of the token: the program that it is for
        name: String,
        /// What the program may do
        #[arg(long, value_enum)]
        role: May,
        /// Short name of the person on record who answers for it
        #[arg(long, value_name = "NAME")]
        person: String,
        /// Who makes it, an administrator; the person who answers for it if not given
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        #[command(flatten)]
        place: Place,
    },
    /// List the tokens; none of them can be shown again
    List {
        #[command(flatten)]
        place: Place,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Revoke a token: it counts no more at once
    Revoke {
        /// Name of the token
        name: String,
        /// Who revokes it; the name of the computer's user if not given
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        #[command(flatten)]
        place: Place,
    },
}

impl Command {
    /// Whether a program listens.
    pub const fn json(&self) -> bool {
        matches!(self, Self::List { json: true, .. })
    }
}

/// Runs a command about tokens.
pub fn run(command: &Command) -> Result<Verdict, Failure> {
    let now = jiff::Timestamp::now();
    match command {
        Command::Add { name, role, person, by, place } => {
            let store = open(place)?;
            let wanted = Wanted { name: name.clone(), role: (*role).into(), person: person.clone() };
            let by = by.as_deref().unwrap_or(person);
            let token = make(&store, by, &wanted, &command_key(), now).map_err(|error| told(place, error))?;
            print(&token)?;
            crate::output::tell("Keep it now: it is not kept here and cannot be shown again.");
        }
        Command::List { place, json } => {
            let store = open(place)?;
            let tokens =
                store.read(|reader| reader.tokens()).map_err(|error| failed(&place.file(), &error))?;
            let text = if *json { format!("{:#}", document(&tokens)) } else { words(&tokens) };
            print(&text)?;
        }
        Command::Revoke { name, by, place } => {
            let (store, by) = (open(place)?, take_in::person(by.as_deref())?);
            revoke(&store, &by, name, &command_key(), now).map_err(|error| told(place, error))?;
            print(&format!("The token {name} is revoked."))?;
        }
    }
    Ok(Verdict::Done)
}

/// Prints the description of the interface for programs.
pub fn openapi() -> Result<Verdict, Failure> {
    print(&format!("{:#}", web::description(PROGRAM)))?;
    Ok(Verdict::Done)
}

fn open(place: &Place) -> Result<Store, Failure> {
    Store::open(&place.file()).map_err(|error| failed(&place.file(), &error))
}

fn told(place: &Place, error: TokenError) -> Failure {
    match error {
        TokenError::Store(error) => failed(&place.file(), &error),
        TokenError::Faults(mut faults) if faults.len() == 1 => {
            Failure::input(&faults.pop().unwrap_or_else(|| calc::form::Fault::new("", "not made", "")))
        }
        other => Failure::input(&calc::form::Fault::new("", other.to_string(), "")),
    }
}

const fn word(role: Role) -> &'static str {
    match role {
        Role::Viewer => "viewer",
        Role::Technician => "technician",
        Role::Lead => "lead",
        Role::Administrator => "administrator",
    }
}

fn document(tokens: &[Token]) -> Json {
    let one = |token: &Token| {
        let revoked = token.revoked.as_ref().map(|(at, by)| json!({"at": at.to_string(), "by": by}));
        json!({
            "name": token.name,
            "role": word(token.role),
            "person": token.person,
            "made": token.made.to_string(),
            "made_by": token.made_by,
            "revoked": revoked,
        })
    };
    json!({"tokens": tokens.iter().map(one).collect::<Vec<_>>()})
}

fn words(tokens: &[Token]) -> String {
    if tokens.is_empty() {
        return "No token was made.".to_owned();
    }
    let line = |token: &Token| {
        let state = match &token.revoked {
            Some((at, by)) => format!("revoked {} by {by}", at.strftime("%Y-%m-%d")),
            None => "in use".to_owned(),
        };
        format!("{}: {}, {} answers for it, {state}", token.name, word(token.role), token.person)
    };
    tokens.iter().map(line).collect::<Vec<_>>().join("\n")
}

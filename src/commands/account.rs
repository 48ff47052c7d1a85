//! `overwinter account`: the keeper's way to add a person, to help one who lost a password, and to
//! close an account. Works beside a running server.

use crate::clock::Clock;
use crate::config::Folder;
use crate::error::Failure;
use crate::store::read::account::Account;
use crate::store::{AddAccount, Hold, NewAccount, Store};
use crate::study::entry::Entry;
use crate::study::fault::Faults;
use crate::study::ids::AccountId;
use crate::study::typed::Typed;
use crate::web::password::hash_now;
use crate::web::person::{Person, check_password};
use std::io::Read;

/// List, add, reset or close accounts; a server may be running.
#[derive(Debug, clap::Subcommand)]
pub(super) enum Args {
    /// List all accounts
    List {
        #[command(flatten)]
        folder: Folder,
    },
    /// Add an account, and print a password for it once
    Add {
        #[command(flatten)]
        folder: Folder,
        /// The name to sign in with: letters, digits, dots, hyphens, underscores
        name: String,
        /// The name that others see; the sign-in name when left out
        #[arg(long, value_name = "TEXT")]
        display_name: Option<String>,
        #[command(flatten)]
        password: Password,
    },
    /// Give an account a new password, print it once, and end its sessions
    Reset {
        #[command(flatten)]
        folder: Folder,
        /// The name to sign in with
        name: String,
        #[command(flatten)]
        password: Password,
    },
    /// Close an account and end its sessions; what it recorded stays
    Close {
        #[command(flatten)]
        folder: Folder,
        /// The name to sign in with
        name: String,
    },
}

/// Where a password comes from.
#[derive(Debug, clap::Args)]
pub(super) struct Password {
    /// Read the password from standard input instead of making one up
    #[arg(long)]
    password_stdin: bool,
}

/// Does one of them.
pub(super) async fn run(args: Args) -> Result<(), Failure> {
    match args {
        Args::List { folder } => list(&open(&folder).await?).await,
        Args::Add {
            folder,
            name,
            display_name,
            password,
        } => {
            let display_name = display_name.unwrap_or_else(|| name.clone());
            add(&open(&folder).await?, &name, &display_name, &password).await
        }
        Args::Reset {
            folder,
            name,
            password,
        } => reset(&open(&folder).await?, &name, &password).await,
        Args::Close { folder, name } => close(&open(&folder).await?, &name).await,
    }
}

async fn open(folder: &Folder) -> Result<Store, Failure> {
    Ok(Store::open(&folder.path, Hold::Beside).await?)
}

async fn list(store: &Store) -> Result<(), Failure> {
    for account in store.accounts().await? {
        let state = match account.closed_at {
            Some(at) => format!("closed {}", at.format("%Y-%m-%d")),
            None => format!("since {}", account.made_at.format("%Y-%m-%d")),
        };
        println!("{:<20} {:<30} {state}", account.name, account.display_name);
    }
    Ok(())
}

async fn add(
    store: &Store,
    name: &str,
    display_name: &str,
    password: &Password,
) -> Result<(), Failure> {
    let clock = Clock::system();
    let mut faults = Faults::none();
    let typed = Typed::from([("name", name), ("display_name", display_name)]);
    let person = Person::parse(&typed, &mut faults);
    let password = password.get(&clock, &mut faults)?;
    faults.or(()).map_err(|faults| faults.to_string())?;
    let new = NewAccount {
        id: clock.new_id(),
        name: person.name,
        display_name: person.display_name,
        password_hash: hash(&password.text, &clock)?,
        made_at: clock.now(),
    };
    match store.add_account(&new).await? {
        AddAccount::Made => {
            let made = Entry::AccountMade {
                account: AccountId(new.id),
            };
            store.note_once(&clock, made).await?;
            println!("The account {} is made.", new.name);
            password.print();
            Ok(())
        }
        AddAccount::NameTaken | AddAccount::NotTheFirst => {
            Err(format!("the name {} is taken; nothing was changed", new.name).into())
        }
    }
}

async fn reset(store: &Store, name: &str, password: &Password) -> Result<(), Failure> {
    let account = open_account(store, name).await?;
    let clock = Clock::system();
    let mut faults = Faults::none();
    let password = password.get(&clock, &mut faults)?;
    faults.or(()).map_err(|faults| faults.to_string())?;
    store
        .set_password(account.id, &hash(&password.text, &clock)?)
        .await?;
    println!(
        "The password of {} is changed and every session of it is ended.",
        account.name
    );
    password.print();
    Ok(())
}

async fn close(store: &Store, name: &str) -> Result<(), Failure> {
    let account = open_account(store, name).await?;
    let clock = Clock::system();
    store.close_account(account.id, clock.now()).await?;
    let closed = Entry::AccountClosed {
        account: AccountId(account.id),
    };
    store.note_once(&clock, closed).await?;
    println!(
        "The account {} is closed and every session of it is ended.",
        account.name
    );
    Ok(())
}

async fn open_account(store: &Store, name: &str) -> Result<Account, Failure> {
    match store.find_account(&name.trim().to_lowercase()).await? {
        Some(account) if account.closed_at.is_none() => Ok(account),
        Some(account) => Err(format!("the account {} is closed", account.name).into()),
        None => {
            Err(format!("there is no account {name}; `overwinter account list` shows all").into())
        }
    }
}

fn hash(password: &str, clock: &Clock) -> Result<String, Failure> {
    hash_now(password, &clock.random()).map_err(|cause| format!("hashing failed: {cause}").into())
}

/// A password, and whether its owner knows it already.
struct Chosen {
    text: String,
    is_made_up: bool,
}

impl Chosen {
    fn print(&self) {
        if self.is_made_up {
            println!("Password, shown only now: {}", self.text);
        }
    }
}

impl Password {
    /// From standard input, or made up: twenty characters, 100 bits.
    fn get(&self, clock: &Clock, faults: &mut Faults) -> Result<Chosen, Failure> {
        if !self.password_stdin {
            return Ok(Chosen {
                text: clock.new_code::<20>(),
                is_made_up: true,
            });
        }
        let mut text = String::new();
        std::io::stdin().take(4096).read_to_string(&mut text)?;
        let text = text.trim_end_matches(['\r', '\n']).to_owned();
        check_password(&text, "password", faults);
        Ok(Chosen {
            text,
            is_made_up: false,
        })
    }
}

//! Making the writer take jobs together, exactly as a test wants them grouped.
use std::sync::{Mutex, mpsc};

use breakerbook::{
    base::Instant,
    desk::{
        Desk, Draft, Filed, Page, Pending, Refused,
        act::{Act, Decided},
    },
};
use tokio::sync::oneshot;

/// Keeps the writer busy from the moment it is decided until it is let go.
pub struct Gate {
    reached: Mutex<Option<oneshot::Sender<()>>>,
    opened: Mutex<mpsc::Receiver<()>>,
}

/// Dropping it, or opening it, lets the writer go on.
pub struct Held {
    open: mpsc::Sender<()>,
    gate: Pending<()>,
}

impl Held {
    pub async fn open(self) {
        let _ = self.open.send(());
        self.gate.answer().await.unwrap();
    }
}

/// The writer waits, and whatever is handed over now is decided as one group afterwards.
pub async fn hold(desk: &Desk) -> Held {
    let (reached, arrived) = oneshot::channel();
    let (open, opened) = mpsc::channel();
    let gate = Gate { reached: Mutex::new(Some(reached)), opened: Mutex::new(opened) };
    let gate = desk.hand_over(gate, None).unwrap();
    arrived.await.unwrap();
    Held { open, gate }
}

impl Act for Gate {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        Vec::new()
    }
    fn decide(&self, _: &Draft, _: Instant) -> Result<Decided, Refused> {
        if let Some(reached) = self.reached.lock().unwrap().take() {
            let _ = reached.send(());
        }
        let _ = self.opened.lock().unwrap().recv();
        Ok(Decided::default())
    }
    fn answer(&self, _: &Draft, _: &[Filed]) {}
}

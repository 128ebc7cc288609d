//! Tab, Enter, Space, the arrows and letters: the keyboard alone, with a look at every stop whether the focus is to be seen.
use thirtyfour::Key;

use crate::person::{MOMENT, PATIENCE, Person, password};

pub struct Keys<'a, 'b> {
    pub crew: &'a Person<'b>,
}

impl Keys<'_, '_> {
    pub async fn press(&self, key: Key) {
        self.crew.driver.action_chain().key_down(key.clone()).key_up(key).perform().await.unwrap();
    }

    pub async fn signs_in(&self, name: &str) {
        self.tab_to("#f-sign_in").await;
        self.types(name).await;
        self.tab_to("#f-password").await;
        self.types(password(name)).await;
        self.press(Key::Enter).await;
        self.crew.waits_for("/units").await;
    }

    /// To the next of that kind, and what is typed there.
    pub async fn fills(&self, css: &str, text: &str) {
        self.tab_to(css).await;
        self.types(text).await;
    }

    pub async fn enters(&self, css: &str) {
        self.tab_to(css).await;
        self.press(Key::Enter).await;
    }

    /// One of some keys: the first, or so many further to the right.
    pub async fn chooses(&self, name: &str, further: usize) {
        self.tab_to(&format!("[name='{name}']")).await;
        self.press(Key::Space).await;
        for _ in 0..further {
            self.press(Key::Right).await;
        }
    }

    pub async fn types(&self, text: &str) {
        self.crew.driver.action_chain().send_keys(text).perform().await.unwrap();
    }

    /// Goes on with Tab until that one has the focus, and sees at every stop where it is.
    pub async fn tab_to(&self, css: &str) {
        for _ in 0..120 {
            self.press(Key::Tab).await;
            let at =
                self.crew.script(&include_str!("focus.js").replace("WANTED", &css.replace('\'', "\""))).await;
            assert_eq!(at["hidden"], "", "the focus is not to be seen at {}", self.crew.path().await);
            if at["there"] == true {
                return;
            }
        }
        panic!("Tab never comes to {css} at {}", self.crew.path().await);
    }

    pub async fn follow(&self, css: &str, path: &str) {
        self.tab_to(css).await;
        self.press(Key::Enter).await;
        for _ in 0..PATIENCE {
            if self.crew.path().await == path {
                return;
            }
            tokio::time::sleep(MOMENT).await;
        }
        panic!("Enter on {css} leads to {}", self.crew.path().await);
    }
}

//! Forms as they are typed. Every field is a string until `check()` has looked at it; a form that is not even
//! a form gets a sentence.
use axum::{
    body::Bytes,
    extract::{FromRequest, FromRequestParts, Query, Request},
    http::{StatusCode, request::Parts},
};
use axum_extra::extract::Form;
use serde::de::DeserializeOwned;

use super::Oops;

/// The house's form extractor: `Typed(form): Typed<ReviewForm>`.
pub struct Typed<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Typed<T> {
    type Rejection = Oops;

    async fn from_request(request: Request, state: &S) -> Result<Self, Oops> {
        let Form(form) = Form::<T>::from_request(request, state).await.map_err(|e| unreadable(&e))?;
        Ok(Self(form))
    }
}

fn unreadable(e: &dyn std::fmt::Display) -> Oops {
    let text = e.to_string();
    if text.contains("length limit") {
        Oops::TooLarge
    } else {
        Oops::Unreadable(format!("This form could not be read: {text}."))
    }
}

/// A body as it came, for the API: one that did not come whole gets a sentence, too.
pub struct Whole(pub Bytes);

impl<S: Send + Sync> FromRequest<S> for Whole {
    type Rejection = Oops;

    async fn from_request(request: Request, state: &S) -> Result<Self, Oops> {
        match Bytes::from_request(request, state).await {
            Ok(bytes) => Ok(Self(bytes)),
            Err(why) if why.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(Oops::TooLarge),
            Err(_) => Err(Oops::Unreadable("What was sent did not come whole. Send it again.".into())),
        }
    }
}

/// What stands in the address after the question mark: `Asked(filter): Asked<TriageForm>`.
pub struct Asked<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for Asked<T> {
    type Rejection = Oops;

    async fn from_request_parts(head: &mut Parts, state: &S) -> Result<Self, Oops> {
        let asked = Query::<T>::from_request_parts(head, state).await;
        let Query(asked) =
            asked.map_err(|e| Oops::Unreadable(format!("This address could not be read: {e}.")))?;
        Ok(Self(asked))
    }
}

/// Every field in the order it stood, for pages whose fields are not known beforehand.
pub struct Fields(pub Vec<(String, String)>);

impl Fields {
    pub fn get(&self, name: &str) -> &str {
        self.value(name).unwrap_or_default()
    }

    /// `None`: the form has no such field.
    pub fn value(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
    }
}

impl<S: Send + Sync> FromRequest<S> for Fields {
    type Rejection = Oops;

    async fn from_request(request: Request, state: &S) -> Result<Self, Oops> {
        let bytes = Bytes::from_request(request, state).await.map_err(|e| unreadable(&e))?;
        Self::read(&bytes).ok_or_else(|| unreadable(&"it is not text"))
    }
}

impl Fields {
    pub fn read(body: &[u8]) -> Option<Self> {
        let text = std::str::from_utf8(body).ok()?;
        let pairs = text.split('&').filter(|pair| !pair.is_empty());
        pairs
            .map(|pair| {
                let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
                Some((decoded(name)?, decoded(value)?))
            })
            .collect::<Option<Vec<_>>>()
            .map(Self)
    }
}

/// `application/x-www-form-urlencoded`: plus is a space, `%hh` a byte of UTF-8.
fn decoded(text: &str) -> Option<String> {
    let mut out = Vec::with_capacity(text.len());
    let mut bytes = text.bytes();
    while let Some(b) = bytes.next() {
        match b {
            b'+' => out.push(b' '),
            b'%' => {
                let hex = [bytes.next()?, bytes.next()?];
                out.push(u8::from_str_radix(std::str::from_utf8(&hex).ok()?, 16).ok()?);
            }
            _ => out.push(b),
        }
    }
    String::from_utf8(out).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_read_in_order_and_bad_bytes_are_no_form() {
        let fields = Fields::read(b"says=all+well&says=%C3%A9%0D%0A&empty=&bare").unwrap();
        let want = [("says", "all well"), ("says", "é\r\n"), ("empty", ""), ("bare", "")];
        assert_eq!(fields.0, want.map(|(n, v)| (n.to_owned(), v.to_owned())));
        assert!(
            Fields::read(b"a=%FF").is_none()
                && Fields::read(b"a=%4").is_none()
                && Fields::read(b"\xff").is_none()
        );
    }
}

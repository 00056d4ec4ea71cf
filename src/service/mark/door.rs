//! Who may use the page: an address that works once is traded for a cookie.
//!
//! The program's arguments, the browser's and the list of visited addresses can be read by others; what stands there must
//! be worth nothing. Browsers send cookies to every port of a host: another service of this computer that the user visits
//! with the same browser could see the cookie. `SameSite` keeps away all pages of other hosts.
use crate::service::shell::{Parts, is_same_secret, random_token, refusal};
use axum::{
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    middleware::Next,
    response::{IntoResponse, Response},
};
use std::{
    net::SocketAddr,
    sync::{Arc, Mutex, PoisonError},
};

/// What is traded.
#[derive(Debug)]
pub(super) struct Door {
    address: SocketAddr,
    /// `None` once it was used.
    code: Mutex<Option<String>>,
    session: String,
}

/// Goes on to the page in a request that begins on this very server: browsers hold a strict cookie back from all
/// requests of a chain that began elsewhere, redirections included.
const ONWARD: &str = "<!doctype html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url=/\">\
<title>tickstrip</title><a href=\"/\">Open the page</a>";

impl Door {
    pub fn new(address: SocketAddr) -> Self {
        Self {
            address,
            code: Mutex::new(Some(random_token())),
            session: random_token(),
        }
    }

    /// The address that works once; `None` after that.
    pub fn way_in(&self) -> Option<String> {
        let code = self.code.lock().unwrap_or_else(PoisonError::into_inner);
        let code = code.as_ref()?;
        Some(format!("http://{}/open/{code}", self.address))
    }

    /// Whether this is the code; it is worthless from then on.
    fn trade(&self, shown: &str) -> bool {
        let mut code = self.code.lock().unwrap_or_else(PoisonError::into_inner);
        let is_right = code
            .as_ref()
            .is_some_and(|code| is_same_secret(code, shown));
        if is_right {
            *code = None;
        }
        is_right
    }

    /// Several servers on one host share the browser's cookies; the port tells theirs apart.
    fn cookie_name(&self) -> String {
        format!("tickstrip-{}", self.address.port())
    }

    fn knows(&self, headers: &HeaderMap) -> bool {
        let name = self.cookie_name();
        let cookies = headers.get_all(header::COOKIE);
        let cookies = cookies.iter().filter_map(|value| value.to_str().ok());
        cookies
            .flat_map(|value| value.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .any(|(key, value)| key == name && is_same_secret(value, &self.session))
    }
}

/// `GET /open/{code}`.
pub(super) async fn open(
    State(door): State<Arc<Door>>,
    Parts(code): Parts<String>,
    headers: HeaderMap,
) -> Response {
    let onward = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; frame-ancestors 'none'",
        ),
    ];
    if door.trade(&code) {
        let (name, session) = (door.cookie_name(), &door.session);
        let cookie = format!("{name}={session}; HttpOnly; SameSite=Strict; Path=/");
        let mut response = (onward, ONWARD).into_response();
        let cookie = HeaderValue::from_str(&cookie).expect("letters and digits");
        response.headers_mut().insert(header::SET_COOKIE, cookie);
        return response;
    }
    // The same browser once more, from its list of visited addresses or with a second window.
    if door.knows(&headers) {
        return (onward, ONWARD).into_response();
    }
    refusal(
        StatusCode::FORBIDDEN,
        "used-address",
        "this address worked once and has been used, or is wrong; end tickstrip mark with Ctrl-C and start it again for a new one",
    )
}

/// Refuses requests without the cookie.
pub(super) async fn only_with_cookie(
    State(door): State<Arc<Door>>,
    request: Request,
    next: Next,
) -> Response {
    if door.knows(request.headers()) {
        return next.run(request).await;
    }
    refusal(
        StatusCode::FORBIDDEN,
        "no-cookie",
        "open the address that the terminal shows first; it works once, in one browser: start \"tickstrip mark\" again for another",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn door() -> Door {
        Door::new(SocketAddr::from(([127, 0, 0, 1], 8123)))
    }

    #[test]
    fn the_code_is_traded_once() {
        let door = door();
        let address = door.way_in().expect("not used yet");
        let code = address
            .strip_prefix("http://127.0.0.1:8123/open/")
            .expect("the form");
        assert!(!door.trade("") && !door.trade(&code[1..]) && !door.trade(&door.session.clone()));
        assert!(door.trade(code));
        assert!(!door.trade(code));
        assert_eq!(door.way_in(), None);
    }

    #[test]
    fn only_the_cookie_of_this_port_opens() {
        let door = door();
        let knows = |cookies: &[String]| {
            let mut headers = HeaderMap::new();
            for cookie in cookies {
                headers.append(
                    header::COOKIE,
                    HeaderValue::from_str(cookie).expect("ASCII"),
                );
            }
            door.knows(&headers)
        };
        let session = &door.session;
        assert!(knows(&[format!("tickstrip-8123={session}")]));
        assert!(knows(&[format!("a=b; tickstrip-8123={session}; c")]));
        assert!(knows(&[
            "a=b".to_owned(),
            format!("tickstrip-8123={session}")
        ]));
        assert!(!knows(&[]));
        assert!(!knows(&[format!("tickstrip-8124={session}")]));
        assert!(!knows(&["tickstrip-8123=".to_owned()]));
        let code = door
            .way_in()
            .expect("unused")
            .rsplit('/')
            .next()
            .expect("a code")
            .to_owned();
        assert!(!knows(&[format!("tickstrip-8123={code}")]));
    }
}

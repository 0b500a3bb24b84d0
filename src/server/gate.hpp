#pragma once
// Who may. Five doors, one behind the other:
//   - Host has to be a name served, so that a stranger's page cannot reach us under a name of its own that it
//   has made
//     to mean this machine (DNS rebinding);
//   - Origin has to be ours for everything that may change something and for WebSocket, so that a stranger's
//   page cannot
//     make the browser ask in the user's name;
//   - TLS, where it is spoken: whoever asks from elsewhere without it is shown the way there and nothing
//   else;
//   - a session: within the machine by the token of this start, from elsewhere by name and passphrase;
//   - a role, and for changes the session's change token, which another page cannot read.

#include <chrono>
#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "server/exchange.hpp"
#include "server/pace.hpp"
#include "server/pairing.hpp"
#include "server/people.hpp"
#include "server/target.hpp"

namespace backeddy::server {

/// Under what names we are asked, besides the very address that was connected to.
struct Served {
    std::uint16_t port = 0;
    std::vector<std::string> names; ///< such as "boat.local"; "localhost" is always one within the machine
    std::string secure_name{};      ///< the one name for TLS, such as "backeddy.local"; empty: no TLS

    /// "https://backeddy.local:8340": where pages are asked over TLS.
    [[nodiscard]] std::string secure_origin() const;
};

/// Below this path stands what a phone may read before it trusts us, over plain HTTP too.
inline constexpr std::string_view trust_path = "trust";

/// The header field that carries a session's change token.
inline constexpr std::string_view change_token_field = "backeddy-change-token";

/// A session ends so long after it was last used, and in any case so long after it began.
inline constexpr std::chrono::hours session_idle{12};
inline constexpr std::chrono::hours session_longest{7 * 24};

/// May be asked from several threads.
class Gate {
  public:
    /// `pairings`: who may come in by a paired device; none where there are none.
    Gate(Served served, People& people, Pairings* pairings = nullptr);

    /// The token of this start. The address printed carries it; whoever opens that within the machine is the
    /// scientist. It may be used again until the program stops: for a second browser, or one whose cookie is
    /// gone.
    [[nodiscard]] const std::string& start_token() const { return start_token_; }

    /// The answer to who may not come in at all: 400 without exactly one Host, 421 for a name that is not
    /// ours, 403 for a change or a WebSocket whose Origin is not.
    [[nodiscard]] std::optional<Response> refuse_stranger(const Head& head, Method method) const;

    /// The answer to who asks from elsewhere without TLS though we speak it: 308 to the same address over
    /// TLS, 403 for what is more than asking. Nothing for `trust_path` and below.
    [[nodiscard]] std::optional<Response> refuse_plain(const Head& head, Method method,
                                                       const Target& target) const;

    /// The answer to an address with `?token=`: a cookie and the same address without it, or 403.
    [[nodiscard]] std::optional<Response> take_start_token(const Head& head, const Target& target,
                                                           Moment now);

    /// Who asks, by the cookie. What was asked last is remembered, so that a session in use stays.
    [[nodiscard]] Asker who(const Head& head, Moment now);

    /// The answer to who may not do this: 401 who has not signed in, 403 for the wrong role or change token.
    [[nodiscard]] std::optional<Response> refuse(const Head& head, Method method, Right right,
                                                 const Asker& asker);

    /// {"name", "passphrase"} as JSON. 200 with a cookie and what session_json says; 401 where they do not
    /// belong together, 429 to who guesses too fast, 503 while another one is being checked (each takes 64
    /// MiB). Takes a tenth of a second, whether there is such a person or not.
    [[nodiscard]] Response sign_in(const Request& request, Moment now);
    /// {"code"} as JSON: pairs the device that asks. 200 with a lasting cookie and what session_json says;
    /// 400 for a code that does not stand, 429 to who guesses too fast, 403 without TLS.
    [[nodiscard]] Response pair(const Request& request, Moment now);
    /// Ends the asker's session, and the pairing of a paired device.
    [[nodiscard]] Response sign_out(const Request& request);
    /// {"name", "role", "change_token"} of the asker's session.
    [[nodiscard]] Response session(const Request& request);

    /// The most that somebody of this name may here, by passphrase or by a paired device; nothing where
    /// nobody has it. Names are the same whatever the case of their letters (A to Z).
    [[nodiscard]] std::optional<Role> role_of_name(std::string_view name);

    /// Whether this session (Asker::session) still holds: not signed out, not expired, the person still
    /// there.
    [[nodiscard]] bool holds(const std::string& session, Moment now);

  private:
    struct Session {
        std::string name;     ///< empty: opened by the start token
        std::string verifier; ///< as it was: a new passphrase ends old sessions
        Role role = Role::viewer;
        std::string change_token;
        Moment began;
        Moment used;
        std::optional<PairedDevice> device{}; ///< paired: then it holds as long as the pairing does
    };
    using Sessions = std::map<std::string, Session>; ///< by the SHA-256 of what the cookie holds
    struct Opened {
        std::string cookie; ///< text of Set-Cookie
        std::string json;
    };
    [[nodiscard]] bool is_served(const Head& head) const;
    [[nodiscard]] std::string cookie_name(bool is_secure) const;
    [[nodiscard]] std::string cookie(std::string_view secret, std::chrono::seconds lasts,
                                     bool is_secure) const;
    [[nodiscard]] Sessions::iterator current(const std::string& key, Moment now);
    [[nodiscard]] bool still_holds(const Session& session, Moment now);
    [[nodiscard]] Sessions::iterator adopt_device(const std::string& key, std::string_view secret,
                                                  Moment now);
    void keep(const std::string& key, Session session);
    Response paired(const Pairings::Paired& made, Moment now);
    Opened open(Session session, bool is_secure);
    Response check_passphrase(const std::string& name, const std::string& passphrase, const Asker& asker,
                              Moment now);

    const Served served_;
    People& people_;
    Pairings* const pairings_;
    const std::string start_token_;

    std::mutex mutex_; ///< over what follows
    Sessions sessions_;
    std::mutex pairing_; ///< over the guesses at codes
    Guesses codes_by_address_{std::chrono::minutes(15)};
    std::mutex checking_; ///< one passphrase at a time; over the guesses too
    Guesses by_address_{std::chrono::minutes(15)};
    Guesses by_name_{
        std::chrono::seconds(30)}; ///< short: a stranger's guesses must not keep the owner out for long
};

} // namespace backeddy::server

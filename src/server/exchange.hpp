#pragma once
// Start here: what goes in and out of the server, as plain values; no socket and no HTTP library in it.
//
//   Routes routes = ...;                        // server/routes.hpp: which request is answered by which
//   function Gate gate(names, people);                   // server/gate.hpp: who may auto listener =
//   Listener::open(where);      // server/listener.hpp: sockets, deadlines, limits
//   listener->serve(Service(gate, routes));     // server/service.hpp: joins them
//   listener->publish(R"({"changed":"stays"})");  // to every page that is open
//
// A handler is a function from Request to Response. It runs on a thread of a small pool, several at once.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace backeddy::server {

enum class Method { get, head, post, put, patch, remove };

/// "GET", "HEAD", "POST", "PUT", "PATCH", "DELETE".
[[nodiscard]] std::string_view method_word(Method method);
[[nodiscard]] std::optional<Method> method_of(std::string_view word);
/// GET and HEAD ask; everything else may change something.
[[nodiscard]] constexpr bool only_asks(Method method) {
    return method == Method::get || method == Method::head;
}

/// What a person may do; each may all that stands before it.
enum class Role { viewer, crew, scientist };
[[nodiscard]] std::string_view role_word(Role role);
[[nodiscard]] std::optional<Role> role_of(std::string_view word);

/// What a route needs: nothing, or at least a viewer, a crew member, a scientist.
enum class Right { anyone, read, log, edit };
[[nodiscard]] bool may(Role role, Right right);

using Field = std::pair<std::string, std::string>;

/// A request's head as it came over the wire, judged by nobody yet.
struct Head {
    std::string method;
    std::string target;        ///< path and query, percent-encoded
    std::vector<Field> fields; ///< in their order; names in lower case
    std::string peer;          ///< address of who asks, without port; an IPv4 one in IPv6 clothes as IPv4
    std::string local;         ///< address of ours that was connected to, likewise
    bool is_within_machine = false; ///< both ends are loopback addresses
    bool is_secure = false;         ///< came over TLS
    bool wants_websocket = false;

    /// Fields of this name; a proxy or an attacker may send several.
    [[nodiscard]] std::size_t count(std::string_view name) const;
    /// The first one's text, or nothing.
    [[nodiscard]] std::string_view field(std::string_view name) const;
};

/// Who asks, as far as is known.
struct Asker {
    std::string name;         ///< empty: nobody has signed in, or the one who started the program here
    std::optional<Role> role; ///< nothing: not signed in
    bool is_paired = false;   ///< by a pairing, not by name and passphrase
    std::string session;      ///< names the session to the gate; not what the cookie holds
    std::string peer;         ///< address
    bool is_secure = false;   ///< asks over TLS
};

/// What a handler sees.
struct Request {
    Method method = Method::get;
    std::vector<std::string> path; ///< decoded segments
    std::vector<Field> query;      ///< decoded, in order
    std::vector<Field> named;      ///< what the pattern's {words} stand for
    std::string content_type;
    std::string if_match;
    std::string body;
    Asker asker;

    /// What `{name}` of the route's pattern stands for; empty where the pattern has no such word.
    [[nodiscard]] std::string_view part(std::string_view name) const;
    /// The first of that name in the query.
    [[nodiscard]] std::optional<std::string_view> asked(std::string_view name) const;
};

/// Bytes that nobody changes any more: a copy shares them.
class Bytes {
  public:
    Bytes() = default;
    Bytes(std::string text) {
        auto kept = std::make_shared<const std::string>(std::move(text));
        view_ = *kept;
        owner_ = std::move(kept);
    }
    Bytes(const char* text) : Bytes(std::string(text)) {}
    /// A view into what `owner` keeps alive.
    Bytes(std::shared_ptr<const void> owner, std::string_view view) : owner_(std::move(owner)), view_(view) {}
    /// Bytes that live as long as the program, such as embedded files; not copied.
    [[nodiscard]] static Bytes of_program(std::string_view bytes) {
        Bytes out;
        out.view_ = bytes;
        return out;
    }
    [[nodiscard]] std::string_view view() const { return view_; }

  private:
    std::shared_ptr<const void> owner_;
    std::string_view view_;
};

/// What a browser lets a document do.
enum class Policy {
    page,   ///< loads from us alone and runs no script that stands in it; nobody frames it
    report, ///< one file with its own script and style: without rights or network, and our own pages may
            ///< frame it
};

struct Response {
    int status = 200;
    std::string content_type; ///< empty: no body
    Bytes body;
    std::optional<Bytes> gzip; ///< the same body packed beforehand, sent to who takes it
    std::string etag;          ///< with its quotes; who has this one already is told so instead of sent it
    std::vector<Field> fields; ///< Allow, Location, Set-Cookie, Retry-After ...
    Policy policy = Policy::page;
    bool closes = false; ///< the connection ends with this answer
};

/// A refusal in the form of RFC 9457: what is wrong, and what the reader can do.
[[nodiscard]] Response problem(int status, std::string_view detail, std::string_view remedy);
/// A problem as a small page for people, with a way back; any other answer as it is.
[[nodiscard]] Response problem_page(const Response& problem);
/// `json` as it stands.
[[nodiscard]] Response json_response(std::string json);
/// An embedded file with its packed form; its ETag is made of its bytes.
[[nodiscard]] Response program_file(std::string_view content_type, std::string_view bytes,
                                    std::string_view gzip);

/// "Not Found" and the like; "Unknown" for what is in no list.
[[nodiscard]] std::string_view reason_phrase(int status);
/// "Sun, 06 Nov 1994 08:49:37 GMT" (RFC 9110, section 5.6.7) of seconds since 1970.
[[nodiscard]] std::string date_text(std::int64_t unix_seconds);

/// The answer's head on the wire, its empty line included, with what every answer says: how long it is, that
/// nothing from elsewhere may run in its pages, frame them or guess at types. `body` is what will follow
/// (empty for 304). Line ends and control characters in a field's text become spaces, so that no answer can
/// be split.
[[nodiscard]] std::string head_text(const Response& response, std::string_view body, bool is_packed);

/// How `response` goes to who sent `head`: packed or not, or 304 without a body when they have it.
struct Outgoing {
    std::string head;
    Bytes body; ///< empty for HEAD and 304
};
[[nodiscard]] Outgoing outgoing(const Response& response, const Head& head);

} // namespace backeddy::server

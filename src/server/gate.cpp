#include "server/gate.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "base/hash.hpp"
#include "server/detail/secret.hpp"

namespace backeddy::server {

namespace {

constexpr std::size_t most_sessions = 1000;
/// As long as browsers keep one; the pairing ends earlier.
constexpr std::chrono::days device_cookie_lasts{400};

/// Of "passphrase" and "somesalt", at the costs of make_verifier: what a name that nobody has is checked
/// against, so that it takes as long.
const std::string nobodys_verifier =
    "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";

std::string lower(std::string_view text) {
    std::string out(text);
    std::ranges::transform(out, out.begin(),
                           [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
    return out;
}

/// An address as it stands in a Host field: IPv6 in brackets.
std::string as_host(const std::string& address) {
    return address.find(':') == std::string::npos ? address : '[' + address + ']';
}

/// The text of a cookie in "a=1; b=2".
std::string_view cookie_of(std::string_view fields, std::string_view name) {
    while (!fields.empty()) {
        const auto end = std::min(fields.find(';'), fields.size());
        std::string_view one = fields.substr(0, end);
        fields.remove_prefix(std::min(end + 1, fields.size()));
        one.remove_prefix(std::min(one.find_first_not_of(' '), one.size()));
        if (one.size() > name.size() && one.starts_with(name) && one[name.size()] == '=') {
            return one.substr(name.size() + 1);
        }
    }
    return {};
}

/// The text of one key of a body that is a JSON object.
std::optional<std::string> text_in(const std::string& body, const char* key) {
    const auto json = nlohmann::json::parse(body, nullptr, false);
    const auto found = json.is_object() ? json.find(key) : json.end();
    return found != json.end() && found->is_string() ? std::optional(found->get<std::string>())
                                                     : std::nullopt;
}

Response retry_later(int status, std::string_view detail, Length wait) {
    const auto seconds = std::chrono::ceil<std::chrono::seconds>(wait).count();
    Response out = problem(status, detail, fmt::format("try again in {} s", seconds));
    out.fields.emplace_back("Retry-After", fmt::format("{}", seconds));
    return out;
}

Response not_signed_in(const Head& head) {
    Response out =
        problem(401, "nobody is signed in here",
                head.is_within_machine ? "open the address that `backeddy serve` printed, with its token"
                : head.is_secure
                    ? "pair this phone (on the laptop: Set-up -> Phones), or sign in by name and passphrase"
                    : "sign in by name and passphrase; `backeddy people add` makes them");
    out.fields.emplace_back("WWW-Authenticate", "Session realm=\"backeddy\"");
    return out;
}

std::string_view who_may(Right right) {
    return right == Right::edit  ? "a scientist"
           : right == Right::log ? "crew or a scientist"
                                 : "who is signed in";
}

} // namespace

Gate::Gate(Served served, People& people, Pairings* pairings)
    : served_(std::move(served)), people_(people), pairings_(pairings), start_token_(random_secret()) {}

std::string Served::secure_origin() const {
    return port == 443 ? "https://" + secure_name : fmt::format("https://{}:{}", secure_name, port);
}

bool Gate::is_served(const Head& head) const {
    const std::string host = lower(head.field("host"));
    const std::uint16_t usual_port = head.is_secure ? 443 : 80;
    const auto is = [&](const std::string& name) {
        return host == fmt::format("{}:{}", lower(name), served_.port) ||
               (served_.port == usual_port && host == lower(name));
    };
    if (!served_.secure_name.empty() && is(served_.secure_name)) {
        return true;
    }
    if (head.is_secure) { // a certificate is for a name: an address could be another machine's tomorrow
        return std::ranges::any_of(served_.names, is);
    }
    // An address in digits cannot be rebound: nobody but its holder is reached by it.
    return is(as_host(head.local)) || (head.is_within_machine && is("localhost")) ||
           std::ranges::any_of(served_.names, is);
}

std::optional<Response> Gate::refuse_stranger(const Head& head, Method method) const {
    if (head.count("host") != 1) {
        return problem(400, fmt::format("{} Host fields", head.count("host")), "send exactly one");
    }
    if (!is_served(head)) {
        return problem(421, fmt::format("nothing is served here under the name \"{}\"", head.field("host")),
                       head.is_secure
                           ? "open " + served_.secure_origin() + "/"
                           : std::string("open the address that `backeddy serve` printed; a further name is "
                                         "served by --name"));
    }
    if (only_asks(method) && !head.wants_websocket) {
        return std::nullopt;
    }
    const std::string ours = (head.is_secure ? "https://" : "http://") + lower(head.field("host"));
    if (head.count("origin") != 1 || lower(head.field("origin")) != ours) {
        return problem(
            403, "this was asked for by a page that is not ours",
            fmt::format("use the program's own pages; another program has to send Origin: {}", ours));
    }
    return std::nullopt;
}

std::optional<Response> Gate::refuse_plain(const Head& head, Method method, const Target& target) const {
    const bool is_shown = !target.path.empty() && target.path.front() == trust_path;
    if (served_.secure_name.empty() || head.is_secure || head.is_within_machine || is_shown) {
        return std::nullopt;
    }
    if (!only_asks(method) || head.wants_websocket) {
        return problem(
            403, "from other machines this is done over TLS alone",
            fmt::format("open {}/; /trust says how a phone comes to trust it", served_.secure_origin()));
    }
    return Response{.status = 308, .fields = {{"Location", served_.secure_origin() + target_text(target)}}};
}

std::string Gate::cookie_name(bool is_secure) const {
    // Cookies know no ports: two programs on one machine must not take each other's. The prefix makes
    // browsers take it over TLS alone, so that plain HTTP under the same name can neither read nor set it.
    return fmt::format("{}backeddy_{}", is_secure ? "__Host-" : "", served_.port);
}

std::string Gate::cookie(std::string_view secret, std::chrono::seconds lasts, bool is_secure) const {
    return fmt::format("{}={}; Path=/; Max-Age={}; {}HttpOnly; SameSite=Strict", cookie_name(is_secure),
                       secret, lasts.count(), is_secure ? "Secure; " : "");
}

std::optional<Response> Gate::take_start_token(const Head& head, const Target& target, Moment now) {
    const auto given = std::ranges::find(target.query, "token", &Field::first);
    if (given == target.query.end()) {
        return std::nullopt;
    }
    if (!head.is_within_machine || !same_secret(given->second, start_token_)) {
        return problem(403, "this token is not of this start of the program",
                       head.is_within_machine
                           ? "open the address that `backeddy serve` printed last"
                           : "the token holds on the machine itself only; sign in by name");
    }
    Target without = target;
    std::erase_if(without.query, [](const Field& each) { return each.first == "token"; });
    const Opened opened = open({.role = Role::scientist, .began = now, .used = now}, head.is_secure);
    return Response{.status = 303,
                    .fields = {{"Location", target_text(without)}, {"Set-Cookie", opened.cookie}}};
}

Gate::Sessions::iterator Gate::current(const std::string& key, Moment now) {
    const auto found = sessions_.find(key);
    if (found == sessions_.end()) {
        return found;
    }
    if (!still_holds(found->second, now)) {
        sessions_.erase(found);
        return sessions_.end();
    }
    return found;
}

bool Gate::still_holds(const Session& session, Moment now) {
    if (session.device) {
        return pairings_->holds(*session.device);
    }
    if (now - session.used >= session_idle || now - session.began >= session_longest) {
        return false;
    }
    if (session.name.empty()) {
        return true;
    }
    const auto person = people_.find(session.name);
    return person && person->role == session.role && person->verifier == session.verifier;
}

/// The session of a paired device, made anew after each start of the program: what the device knows is
/// enough.
Gate::Sessions::iterator Gate::adopt_device(const std::string& key, std::string_view secret, Moment now) {
    const auto device = pairings_->seen(key);
    if (!device) {
        return sessions_.end();
    }
    keep(key, {.name = device->author,
               .role = device->role,
               // Of the secret, so that a page which is out of reach for days can still send what it holds.
               .change_token = sha256_hex("backeddy change token " + std::string(secret)),
               .began = now,
               .used = now,
               .device = device});
    return sessions_.find(key);
}

Asker Gate::who(const Head& head, Moment now) {
    Asker asker{.peer = head.peer, .is_secure = head.is_secure};
    const auto secret = cookie_of(head.field("cookie"), cookie_name(head.is_secure));
    if (secret.empty() || head.count("cookie") != 1) {
        return asker;
    }
    // Looked up by its hash: how long the look-up takes tells nothing about the secret.
    const std::string key = sha256_hex(secret);
    const std::lock_guard lock(mutex_);
    auto found = current(key, now);
    if (pairings_ != nullptr && head.is_secure && (found == sessions_.end() || found->second.device)) {
        found = adopt_device(key, secret, now);
    }
    if (found == sessions_.end() || (found->second.name.empty() && !head.is_within_machine)) {
        return asker;
    }
    found->second.used = now;
    asker.name = found->second.name;
    asker.role = found->second.role;
    asker.is_paired = found->second.device.has_value();
    asker.session = key;
    return asker;
}

std::optional<Response> Gate::refuse(const Head& head, Method method, Right right, const Asker& asker) {
    if (right == Right::anyone) {
        return std::nullopt;
    }
    if (!asker.role) {
        return not_signed_in(head);
    }
    if (!may(*asker.role, right)) {
        return problem(403, fmt::format("{} may not do this", role_word(*asker.role)),
                       fmt::format("it takes {}: `backeddy people` says who is what", who_may(right)));
    }
    if (only_asks(method)) {
        return std::nullopt;
    }
    const std::lock_guard lock(mutex_);
    const auto found = sessions_.find(asker.session);
    if (found == sessions_.end() || head.count(change_token_field) != 1 ||
        !same_secret(head.field(change_token_field), found->second.change_token)) {
        return problem(
            403, "a change without the session's change token",
            "load the page again; another program reads the token from GET /api/session and sends it as "
            "Backeddy-Change-Token");
    }
    return std::nullopt;
}

namespace {

/// A paired phone is also told its mark.
template <typename Session>
std::string session_json(const Session& session) {
    nlohmann::ordered_json json{
        {"name", session.name}, {"role", role_word(session.role)}, {"change_token", session.change_token}};
    if (session.device) {
        json["label"] = session.device->label;
    }
    return json.dump();
}

} // namespace

Gate::Opened Gate::open(Session session, bool is_secure) {
    const std::string secret = random_secret();
    session.change_token = random_secret();
    Opened opened{.cookie = cookie(secret, session_longest, is_secure), .json = session_json(session)};
    const std::lock_guard lock(mutex_);
    keep(sha256_hex(secret), std::move(session));
    return opened;
}

void Gate::keep(const std::string& key, Session session) {
    if (sessions_.size() >= most_sessions && !sessions_.contains(key)) {
        sessions_.erase(
            std::ranges::min_element(sessions_, {}, [](const auto& each) { return each.second.used; }));
    }
    sessions_.insert_or_assign(key, std::move(session));
}

Response Gate::check_passphrase(const std::string& name, const std::string& passphrase, const Asker& asker,
                                Moment now) {
    const std::unique_lock one_at_a_time(checking_, std::try_to_lock);
    if (!one_at_a_time) {
        return retry_later(503, "another passphrase is being checked", std::chrono::seconds(1));
    }
    const std::string address = address_group(asker.peer);
    if (const auto wait = std::max(by_address_.wait(address, now), by_name_.wait(name, now));
        wait > Length::zero()) {
        return retry_later(429, "too many wrong passphrases from here or for this name", wait);
    }
    const auto person = people_.find(name);
    const bool is_right = fits(passphrase, person ? person->verifier : nobodys_verifier);
    if (!person || !is_right) {
        by_address_.wrong(address, now);
        by_name_.wrong(name, now);
        return problem(401, "name and passphrase do not belong together",
                       "type them again; `backeddy people` on the machine that serves says who may");
    }
    by_name_.right(name);
    const Opened opened = open(
        {.name = person->name, .verifier = person->verifier, .role = person->role, .began = now, .used = now},
        asker.is_secure);
    Response out = json_response(opened.json);
    out.fields.emplace_back("Set-Cookie", opened.cookie);
    return out;
}

Response Gate::sign_in(const Request& request, Moment now) {
    const auto name = text_in(request.body, "name");
    const auto passphrase = text_in(request.body, "passphrase");
    if (!name || !passphrase || name->size() > 64) {
        return problem(400, "the body is not what signing in needs",
                       R"(send JSON such as {"name": "...", "passphrase": "..."})");
    }
    return check_passphrase(*name, *passphrase, request.asker, now);
}

Response Gate::pair(const Request& request, Moment now) {
    if (pairings_ == nullptr || !request.asker.is_secure) {
        return problem(
            403, "a phone is paired over TLS alone",
            "start the program with --deck, and open the address of the code that Set-up -> Phones "
            "shows");
    }
    const auto code = text_in(request.body, "code");
    if (!code) {
        return problem(400, "the body is not what pairing needs", R"(send JSON such as {"code": "..."})");
    }
    const std::lock_guard one_at_a_time(pairing_);
    const std::string address = address_group(request.asker.peer);
    if (const auto wait = codes_by_address_.wait(address, now); wait > Length::zero()) {
        return retry_later(429, "too many codes that do not hold from here", wait);
    }
    const auto made = pairings_->take(*code);
    if (!made) {
        return problem(503, "the pairing could not be kept: " + made.error().found, made.error().remedy);
    }
    if (!*made) {
        codes_by_address_.wrong(address, now);
        return problem(400, "this code does not hold: it was used, has run out, or is another",
                       "make a new one on the laptop, Set-up -> Phones");
    }
    codes_by_address_.right(address);
    return paired(**made, now);
}

Response Gate::paired(const Pairings::Paired& made, Moment now) {
    const std::lock_guard lock(mutex_);
    const auto session = adopt_device(made.device.secret_hash, made.secret, now);
    if (session == sessions_.end()) {
        return problem(409, "this pairing was ended as it was made", "make a new code on the laptop");
    }
    const auto& [key, opened] = *session;
    Response out = json_response(session_json(opened));
    out.fields.emplace_back("Set-Cookie", cookie(made.secret, device_cookie_lasts, true));
    return out;
}

Response Gate::sign_out(const Request& request) {
    std::optional<PairedDevice> device;
    {
        const std::lock_guard lock(mutex_);
        if (const auto found = sessions_.find(request.asker.session); found != sessions_.end()) {
            device = found->second.device;
            sessions_.erase(found);
        }
    }
    if (device) {
        if (const auto ended = pairings_->end(device->id); !ended) {
            return problem(503, "the pairing could not be ended for good: " + ended.error().found,
                           ended.error().remedy);
        }
    }
    return {.status = 204,
            .fields = {{"Set-Cookie", cookie("", std::chrono::seconds(0), request.asker.is_secure)}}};
}

Response Gate::session(const Request& request) {
    const std::lock_guard lock(mutex_);
    const auto found = sessions_.find(request.asker.session);
    if (found == sessions_.end()) {
        return problem(401, "this session has just ended", "sign in again");
    }
    return json_response(session_json(found->second));
}

std::optional<Role> Gate::role_of_name(std::string_view name) {
    auto out = people_.role_of(name);
    if (pairings_ != nullptr) {
        for (const auto& device : pairings_->all()) {
            if (is_same_name(device.author, name)) {
                out = std::max(out, std::optional(device.role));
            }
        }
    }
    return out;
}

bool Gate::holds(const std::string& session, Moment now) {
    const std::lock_guard lock(mutex_);
    return current(session, now) != sessions_.end();
}

} // namespace backeddy::server

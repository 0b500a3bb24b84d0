#include "server/mdns.hpp"

#include <algorithm>

namespace backeddy::server::mdns {

namespace {

constexpr std::size_t head_bytes = 12;
constexpr std::size_t longest_name = 255;
constexpr std::uint16_t type_a = 1;
constexpr std::uint16_t type_aaaa = 28;
constexpr std::uint16_t type_nsec = 47;
constexpr std::uint16_t type_any = 255;
constexpr std::uint16_t class_in = 1;
constexpr std::uint16_t class_any = 255;
/// Of a question's class: answer me alone. Of an answer's: forget what you knew.
constexpr std::uint16_t top_bit = 0x8000;
constexpr std::uint16_t answer_flags = 0x8400; // an answer, with authority
constexpr std::uint16_t kind_bits = 0x780F;    // opcode and result: other ones are to be ignored

/// Reads from the front; once it has failed, all that follows is zero.
class Reader {
  public:
    explicit Reader(std::string_view packet) : packet_(packet) {}

    [[nodiscard]] bool is_fine() const { return is_fine_; }
    std::uint16_t two() {
        if (packet_.size() - at_ < 2) {
            is_fine_ = false;
        }
        if (!is_fine_) {
            return 0;
        }
        at_ += 2;
        return static_cast<std::uint16_t>(byte(at_ - 2) << 8 | byte(at_ - 1));
    }
    std::uint32_t four() {
        const std::uint32_t high = two();
        return high << 16 | two();
    }
    Ipv6 sixteen() {
        Ipv6 out{};
        for (std::size_t i = 0; i < out.size(); i += 2) {
            const auto pair = two();
            out[i] = static_cast<std::uint8_t>(pair >> 8);
            out[i + 1] = static_cast<std::uint8_t>(pair & 0xFF);
        }
        return out;
    }
    void skip(std::size_t count) {
        if (packet_.size() - at_ < count) {
            is_fine_ = false;
        } else {
            at_ += count;
        }
    }
    /// In lower case, labels parted by dots; a dot within a label stands as a zero, which no name of ours
    /// has.
    std::string name();

  private:
    [[nodiscard]] unsigned byte(std::size_t at) const { return static_cast<unsigned char>(packet_[at]); }
    std::string failed() {
        is_fine_ = false;
        return {};
    }
    void append_label(std::string& out, std::size_t at, std::size_t length) const;

    std::string_view packet_;
    std::size_t at_ = 0;
    bool is_fine_ = true;
};

void Reader::append_label(std::string& out, std::size_t at, std::size_t length) const {
    out += out.empty() ? "" : ".";
    for (const char c : packet_.substr(at, length)) {
        out += c == '.' ? '\0' : c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    }
}

std::string Reader::name() {
    std::string out;
    std::size_t at = at_;
    std::size_t earliest = at_; // a name may go on before itself, never behind
    bool has_jumped = false;
    while (is_fine_) {
        if (at >= packet_.size()) {
            return failed();
        }
        const unsigned length = byte(at);
        if (length == 0) {
            at_ = has_jumped ? at_ : at + 1;
            return out;
        }
        if (length >= 0xC0) {
            if (at + 1 >= packet_.size()) {
                return failed();
            }
            const std::size_t target = (length & 0x3F) << 8 | byte(at + 1);
            if (target >= earliest) {
                return failed();
            }
            at_ = has_jumped ? at_ : at + 2;
            has_jumped = true;
            at = earliest = target;
            continue;
        }
        if (length > 63 || packet_.size() - at - 1 < length || out.size() + length + 1 > longest_name) {
            return failed();
        }
        append_label(out, at + 1, length);
        at += 1 + length;
    }
    return {};
}

bool is_internet(std::uint16_t its_class) {
    const auto bare = static_cast<std::uint16_t>(its_class & ~top_bit);
    return bare == class_in || bare == class_any;
}

void read_question(Reader& reader, std::string_view name, Heard& heard) {
    const bool is_ours = reader.name() == name;
    const auto type = reader.two();
    const auto its_class = reader.two();
    if (!reader.is_fine() || !is_ours || !is_internet(its_class)) {
        return;
    }
    const bool is_address = type == type_a || type == type_any;
    const bool is_address6 = type == type_aaaa || type == type_any;
    heard.asks_address = heard.asks_address || is_address;
    heard.asks_address6 = heard.asks_address6 || is_address6;
    heard.asks_other = heard.asks_other || (!is_address && !is_address6);
    heard.wants_unicast = heard.wants_unicast || (its_class & top_bit) != 0;
}

void read_record(Reader& reader, std::string_view name, Heard& heard) {
    const bool is_ours = reader.name() == name;
    const auto type = reader.two();
    const auto its_class = reader.two();
    const auto life = reader.four();
    const auto length = reader.two();
    const bool is_address = type == type_a && length == 4;
    const bool is_address6 = type == type_aaaa && length == 16;
    if (!is_ours || !is_internet(its_class) || (!is_address && !is_address6)) {
        reader.skip(length);
        return;
    }
    const bool counts = heard.is_answer ? life > 0 : life >= usual_life / 2;
    if (is_address) {
        const auto address = reader.four();
        if (reader.is_fine() && counts) {
            heard.addresses.push_back(address);
        }
        return;
    }
    const auto address = reader.sixteen();
    if (reader.is_fine() && counts) {
        heard.addresses6.push_back(address);
    }
}

// ---------------------------------------------------------------- writing

void put_two(std::string& out, std::uint16_t value) {
    out += static_cast<char>(value >> 8);
    out += static_cast<char>(value & 0xFF);
}

void put_four(std::string& out, std::uint32_t value) {
    put_two(out, static_cast<std::uint16_t>(value >> 16));
    put_two(out, static_cast<std::uint16_t>(value & 0xFFFF));
}

void put_name(std::string& out, std::string_view name) {
    while (!name.empty()) {
        const auto end = std::min(name.find('.'), name.size());
        out += static_cast<char>(end);
        out += name.substr(0, end);
        name.remove_prefix(std::min(end + 1, name.size()));
    }
    out += '\0';
}

void put_head(std::string& out, std::uint16_t id, std::uint16_t flags, std::uint16_t questions,
              std::uint16_t answers, std::uint16_t more) {
    for (const std::uint16_t each : {id, flags, questions, answers, std::uint16_t{0}, more}) {
        put_two(out, each);
    }
}

void put_record(std::string& out, std::string_view name, std::uint16_t type, const Answer& what,
                std::string_view data) {
    put_name(out, name);
    put_two(out, type);
    put_two(out, what.legacy_id ? class_in : class_in | top_bit);
    put_four(out, what.life);
    put_two(out, static_cast<std::uint16_t>(data.size()));
    out += data;
}

/// Of the types 0 to 31 those that there are, as NSEC says it (RFC 4034, section 4.1.2).
std::string types_there(std::string_view name, const Answer& what) {
    std::string out;
    put_name(out, name);
    const char first = what.address != 0 ? '\x40' : '\0'; // type 1
    out += '\0';                                          // the first window
    if (what.addresses6.empty()) {
        out += '\x01';
        out += first;
    } else {
        out += '\x04';
        out += first;
        out += std::string_view("\0\0\x08", 3); // type 28
    }
    return out;
}

} // namespace

std::optional<Heard> read(std::string_view packet, std::string_view name) {
    if (packet.size() < head_bytes) {
        return std::nullopt;
    }
    Reader reader(packet);
    Heard heard{.id = reader.two()};
    const auto flags = reader.two();
    if ((flags & kind_bits) != 0) {
        return std::nullopt;
    }
    heard.is_answer = (flags & top_bit) != 0;
    const auto questions = reader.two();
    const auto answers = reader.two();
    const auto authorities = reader.two();
    const auto more = reader.two();
    for (unsigned i = 0; i < questions && reader.is_fine(); ++i) {
        read_question(reader, name, heard);
    }
    // Who asks says among the answers what it knows; what it intends to claim stands behind them.
    const unsigned records = answers + (heard.is_answer ? unsigned{authorities} + more : 0U);
    for (unsigned i = 0; i < records && reader.is_fine(); ++i) {
        read_record(reader, name, heard);
    }
    return reader.is_fine() ? std::optional(heard) : std::nullopt;
}

std::string question(std::string_view name) {
    std::string out;
    put_head(out, 0, 0, 1, 0, 0);
    put_name(out, name);
    put_two(out, type_any);
    put_two(out, class_in);
    return out;
}

std::string answer(std::string_view name, const Answer& what) {
    std::string addresses;
    std::uint16_t count = 0;
    if (what.address != 0) {
        std::string bytes;
        put_four(bytes, what.address);
        put_record(addresses, name, type_a, what, bytes);
        ++count;
    }
    for (const auto& each : what.addresses6) {
        put_record(addresses, name, type_aaaa, what,
                   {reinterpret_cast<const char*>(each.data()), each.size()});
        ++count;
    }
    std::string rest;
    put_record(rest, name, type_nsec, what, types_there(name, what));
    std::string out;
    put_head(out, what.legacy_id.value_or(0), answer_flags, what.legacy_id ? 1 : 0,
             what.is_about_other ? std::uint16_t{1} : count, what.is_about_other ? count : std::uint16_t{1});
    if (what.legacy_id) {
        put_name(out, name);
        put_two(out, what.is_about_other || what.is_about_ipv6 ? type_aaaa : type_a);
        put_two(out, class_in);
    }
    return out + (what.is_about_other ? rest + addresses : addresses + rest);
}

} // namespace backeddy::server::mdns

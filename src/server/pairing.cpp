#include "server/pairing.hpp"

#include <algorithm>
#include <cctype>

#include <fmt/format.h>

#include "base/file.hpp"
#include "base/hash.hpp"
#include "server/detail/entries.hpp"
#include "server/detail/name_text.hpp"
#include "server/detail/private_file.hpp"
#include "server/detail/secret.hpp"

namespace backeddy::server {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t code_length = 12;
constexpr std::size_t group_length = 4;

Duration duration_of(std::chrono::nanoseconds length) {
    return Duration::nanoseconds(length.count());
}

Instant whole_seconds(Instant moment) {
    constexpr std::int64_t second = 1'000'000'000;
    return Instant::unix_nanoseconds(moment.unix_nanoseconds() / second * second);
}

bool is_hexadecimal(std::string_view text, std::size_t length) {
    return text.size() == length && text.find_first_not_of("0123456789abcdef") == std::string_view::npos;
}

Expected<std::vector<PairedDevice>> devices_of(std::string_view text, const fs::path& file) {
    const auto not_understood = [&](std::string found, std::uint64_t line) {
        return Error{.code = ErrorCode::bad_setting,
                     .found = std::move(found),
                     .expected = "[[device]] as `backeddy serve --deck` has written it",
                     .remedy = "take the device out and pair it again",
                     .place = {.file = file.string(), .line = line}};
    };
    const auto device_of = [&](const ListEntry& entry) -> Expected<PairedDevice> {
        const auto role = role_of(entry.text("role"));
        const auto paired_at = parse_iso(entry.text("paired_at"));
        const auto last_seen_at = parse_iso(entry.text("last_seen_at"));
        PairedDevice out{.id = entry.text("id"),
                         .label = entry.text("label"),
                         .author = entry.text("author"),
                         .secret_hash = entry.text("secret_sha256")};
        if (!role || !paired_at || !last_seen_at || !is_name(out.label) || !is_name(out.author) ||
            !is_hexadecimal(out.id, 16) || !is_hexadecimal(out.secret_hash, 64)) {
            return fail(not_understood(fmt::format("the device \"{}\"", out.label), entry.line));
        }
        out.role = *role;
        out.paired_at = *paired_at;
        out.last_seen_at = *last_seen_at;
        return out;
    };
    return list_of<PairedDevice>(text, "device", not_understood, device_of);
}

std::string file_text(const std::vector<PairedDevice>& devices) {
    std::string out =
        "# Phones paired with Backeddy on this machine; `backeddy serve --deck` keeps it. Mode 600.\n";
    for (const auto& each : devices) {
        out += fmt::format("\n[[device]]\nid = \"{}\"\nlabel = \"{}\"\nauthor = \"{}\"\nrole = \"{}\"\n"
                           "secret_sha256 = \"{}\"\npaired_at = \"{}\"\nlast_seen_at = \"{}\"\n",
                           each.id, each.label, each.author, role_word(each.role), each.secret_hash,
                           iso_text(each.paired_at), iso_text(each.last_seen_at));
    }
    return out;
}

/// Without hyphens and blanks, in capitals; what looks like a digit is taken for it.
std::string bare_code(std::string_view text) {
    std::string out;
    for (const char c : text) {
        const char upper = c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
        if (upper != '-' && upper != ' ') {
            out += upper == 'O' ? '0' : upper == 'I' || upper == 'L' ? '1' : upper;
        }
    }
    return out;
}

std::string shown_code(const std::string& bare) {
    std::string out;
    for (std::size_t i = 0; i < bare.size(); i += group_length) {
        out += (out.empty() ? "" : "-") + bare.substr(i, group_length);
    }
    return out;
}

std::string new_id() {
    return sha256_hex(random_secret()).substr(0, 16);
}

} // namespace

fs::path paired_file(const fs::path& people_file) {
    return people_file.parent_path() / "paired.toml";
}

Expected<std::vector<PairedDevice>> load_paired(const fs::path& file) {
    if (auto ok = is_private(file, "what paired phones are known by"); !ok) {
        return fail(std::move(ok).error());
    }
    const auto text = read_file(file, 1 << 20);
    if (!text) {
        return text.error().code == ErrorCode::file_missing
                   ? Expected<std::vector<PairedDevice>>(std::vector<PairedDevice>())
                   : fail(text.error());
    }
    return devices_of(*text, file);
}

bool Pairings::is_ended(const PairedDevice& device) const {
    return std::ranges::find(ended_, device.id) != ended_.end() ||
           now_() - device.last_seen_at > duration_of(paired_unused);
}

/// The file is looked at at most once a second, so that what another program ended is ended here.
void Pairings::look_again() {
    const auto now = Clock::now();
    if (!looked_ || now - *looked_ >= std::chrono::seconds(1)) {
        looked_ = now;
        devices_ = load_paired(file_).value_or(std::vector<PairedDevice>());
        std::erase_if(devices_, [&](const PairedDevice& each) { return is_ended(each); });
    }
}

/// Changes what the file holds, under the lock of its folder. What is ended goes with it.
template <typename Change>
Expected<void> Pairings::change(const Change& change) {
    const FolderLock lock(file_.parent_path());
    auto devices = load_paired(file_);
    if (!devices) {
        return fail(std::move(devices).error());
    }
    std::erase_if(*devices, [&](const PairedDevice& each) { return is_ended(each); });
    change(*devices);
    if (auto ok = write_private(file_, file_text(*devices)); !ok) {
        return ok;
    }
    devices_ = std::move(*devices);
    looked_ = Clock::now();
    return {};
}

Expected<Pairings::Code> Pairings::offer(Wish wish) {
    if (!is_name(wish.author) || !is_name(wish.label)) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("the author \"{}\" and the mark \"{}\"", wish.author, wish.label),
                     .expected = "1 to 64 bytes of text without quotes, backslashes or a space at either end",
                     .remedy = "choose others"});
    }
    const std::lock_guard guard(mutex_);
    const Instant now = now_();
    std::erase_if(standing_, [&](const Standing& each) { return each.until <= now; });
    if (standing_.size() >= most_codes) {
        standing_.erase(standing_.begin());
    }
    standing_.push_back(
        {.code = random_code(code_length), .wish = std::move(wish), .until = now + duration_of(code_lasts)});
    return Code{.text = shown_code(standing_.back().code), .expires_at = standing_.back().until};
}

Expected<std::optional<Pairings::Paired>> Pairings::take(std::string_view code) {
    const std::lock_guard guard(mutex_);
    const Instant now = now_();
    const std::string bare = bare_code(code.substr(0, 64));
    // Every code is looked at: how long it takes tells nothing.
    auto found = standing_.end();
    for (auto each = standing_.begin(); each != standing_.end(); ++each) {
        if (same_secret(each->code, bare) && each->until > now) {
            found = each;
        }
    }
    if (found == standing_.end()) {
        return std::optional<Paired>();
    }
    const Instant moment = whole_seconds(now);
    Paired out{.device = {.id = new_id(),
                          .label = found->wish.label,
                          .author = found->wish.author,
                          .role = found->wish.role,
                          .paired_at = moment,
                          .last_seen_at = moment},
               .secret = random_secret()};
    out.device.secret_hash = sha256_hex(out.secret);
    auto ok = change([&](std::vector<PairedDevice>& devices) {
        if (devices.size() >= most_paired) {
            devices.erase(std::ranges::min_element(devices, {}, &PairedDevice::last_seen_at));
        }
        devices.push_back(out.device);
    });
    if (!ok) {
        return fail(std::move(ok).error());
    }
    standing_.erase(found);
    return std::optional(std::move(out));
}

std::optional<PairedDevice> Pairings::seen(const std::string& secret_hash) {
    const std::lock_guard guard(mutex_);
    look_again();
    const auto find = [&](std::vector<PairedDevice>& devices) {
        return std::ranges::find(devices, secret_hash, &PairedDevice::secret_hash);
    };
    const auto found = find(devices_);
    if (found == devices_.end() || is_ended(*found)) {
        return std::nullopt;
    }
    PairedDevice out = *found;
    const Instant moment = whole_seconds(now_());
    if (moment - out.last_seen_at >= duration_of(seen_step)) {
        found->last_seen_at = out.last_seen_at = moment;
        // Where it cannot be written it stays paired here; the next step tries again.
        [[maybe_unused]] const auto written = change([&](std::vector<PairedDevice>& devices) {
            if (const auto kept = find(devices); kept != devices.end()) {
                kept->last_seen_at = moment;
            }
        });
    }
    return out;
}

bool Pairings::holds(const PairedDevice& device) {
    const std::lock_guard guard(mutex_);
    look_again();
    const auto found = std::ranges::find(devices_, device.id, &PairedDevice::id);
    return found != devices_.end() && !is_ended(*found) && found->secret_hash == device.secret_hash &&
           found->role == device.role && found->author == device.author;
}

std::vector<PairedDevice> Pairings::all() {
    const std::lock_guard guard(mutex_);
    look_again();
    return devices_;
}

Expected<Pairings::Ended> Pairings::end(std::string_view id) {
    const std::lock_guard guard(mutex_);
    const auto take_out = [&](std::vector<PairedDevice>& devices) {
        return std::erase_if(devices, [&](const PairedDevice& each) { return each.id == id; }) > 0;
    };
    bool was_there = take_out(devices_);
    auto ok = change([&](std::vector<PairedDevice>& devices) { was_there = take_out(devices) || was_there; });
    if (was_there) {
        ended_.emplace_back(id);
    }
    if (!ok) {
        return fail(std::move(ok).error());
    }
    return was_there ? Ended::now : Ended::was_not_there;
}

} // namespace backeddy::server

#include "app/bring_in.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include <fmt/format.h>
#include <fnmatch.h>
#include <nlohmann/json.hpp>

#include "app/brief_text.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "intake/brief.hpp"
#include "intake/trace_reader.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

using Json = nlohmann::json;
using study::TraceSource;

constexpr std::size_t most_first_rows = 10;
constexpr std::size_t most_told_rows = 20;
constexpr std::size_t longest_place = 1000; // bytes

// ---------------------------------------------------------------- settings as a [[trace]]

// JSON's strings are TOML's basic strings, but for one control character that TOML does not take raw.
std::string toml_string(const std::string& text) {
    std::string out;
    for (const char c : Json(text).dump(-1, ' ', false, Json::error_handler_t::replace)) {
        out += c == '\x7F' ? std::string("\\u007F") : std::string(1, c);
    }
    return out;
}

bool is_plain(const Json& value) {
    return value.is_string() || value.is_number() || value.is_boolean();
}

std::string toml_value(const Json& value) {
    if (!value.is_array()) {
        return value.is_string() ? toml_string(value.get<std::string>()) : value.dump();
    }
    std::string out;
    for (const auto& item : value) {
        out += (out.empty() ? "" : ", ") + toml_value(item);
    }
    return "[" + out + "]";
}

std::string toml_key(const std::string& key) {
    const bool is_bare = !key.empty() && std::ranges::all_of(key, [](const char c) {
        return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_';
    });
    return is_bare ? key : toml_string(key);
}

Expected<std::string> toml_table(const Json& table, const std::string& name) {
    std::string head; // as people write one: its name first, then its files
    std::string rest;
    for (const auto& [key, value] : table.items()) {
        const bool is_list = value.is_array() && std::ranges::all_of(value, is_plain);
        if (key != "column" && !is_plain(value) && !is_list) {
            return fail({.code = ErrorCode::bad_setting,
                         .found = fmt::format("the setting \"{}\" holds {}", key, value.type_name()),
                         .expected = "a text, a number, true or false, or a list of them"});
        }
        const auto line = toml_key(key) + " = " + toml_value(value) + "\n";
        if (key == "name") {
            head.insert(0, line);
        } else if (key == "files") {
            head += line;
        } else if (key != "column") {
            rest += line;
        }
    }
    return "[[" + name + "]]\n" + head + rest;
}

/// A [[trace]] with its columns, as it stands in a brief.
Expected<std::string> trace_text(const std::string& settings) {
    const Json all = Json::parse(settings, nullptr, false);
    if (!all.is_object()) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = "settings that are no JSON object",
                     .expected = "the keys of a [[trace]] with their values"});
    }
    auto out = toml_table(all, "trace");
    for (const auto& column : all.value("column", Json::array())) {
        auto more = out && column.is_object() ? toml_table(column, "trace.column")
                                              : Expected<std::string>(std::string());
        if (!out || !more) {
            return out ? std::move(more) : std::move(out);
        }
        *out += "\n" + *more;
    }
    return out;
}

Expected<void> first_fault(const std::vector<study::Complaint>& complaints) {
    for (const auto& complaint : complaints) {
        if (complaint.severity == study::Severity::stops_the_run) {
            return fail(complaint.error);
        }
    }
    return {};
}

/// The trace of these settings; what they lack of name and files is filled in.
Expected<TraceSource> source_of(const std::string& settings, const std::string& zone) {
    Json all = Json::parse(settings, nullptr, false);
    if (all.is_object()) {
        all.emplace("name", "new");
        all.emplace("files", Json::array({"raw/new"}));
    }
    const auto text =
        trace_text(all.is_object() ? all.dump(-1, ' ', false, Json::error_handler_t::replace) : settings);
    if (!text) {
        return fail(text.error());
    }
    const auto read =
        intake::read_brief("[study]\nzone = " + toml_string(zone) + "\n" + *text, "the settings");
    if (auto sound = first_fault(read.complaints); !sound) {
        return fail(std::move(sound).error());
    }
    return read.brief.traces.front();
}

// ---------------------------------------------------------------- what takes a file

bool takes(const TraceSource& source, const std::string& place) {
    return std::ranges::any_of(source.files, [&](const std::string& pattern) {
        return ::fnmatch(pattern.c_str(), place.c_str(), FNM_PATHNAME) == 0;
    });
}

std::vector<TakingPlace> places_for(const study::Brief& brief, const std::string& name) {
    std::vector<TakingPlace> out;
    for (const auto& source : brief.traces) {
        for (const auto& pattern : source.files) {
            const auto folder = pattern.substr(0, pattern.rfind('/') + 1);
            const bool is_one_folder = folder.find_first_of("*?[") == std::string::npos;
            if (is_one_folder && ::fnmatch(pattern.c_str(), (folder + name).c_str(), FNM_PATHNAME) == 0) {
                out.push_back({.trace = source.name, .place = folder + name});
            }
        }
    }
    return out;
}

Expected<const TraceSource*> source_named(const study::Brief& brief, const std::string& name) {
    std::vector<std::string> names;
    for (const auto& source : brief.traces) {
        if (source.name == name) {
            return &source;
        }
        names.push_back(source.name);
    }
    const auto near = nearest_name(name, names);
    return fail({.code = ErrorCode::unknown_name,
                 .found = fmt::format("no [[trace]] \"{}\" in study.toml", name),
                 .expected = "one that is there",
                 .remedy = near ? fmt::format("did you mean \"{}\"?", *near) : ""});
}

// ---------------------------------------------------------------- looking

std::vector<SeenColumn> seen_columns(const intake::Dialect& dialect) {
    std::vector<SeenColumn> out;
    for (const auto& column : dialect.columns) {
        const bool is_reading = column.is_reading();
        out.push_back({.index = column.index,
                       .header = column.header,
                       .use = std::string(word_of(column.use)),
                       .unit = is_reading ? std::string(intake::name_of(column.unit)) : std::string(),
                       .channel = is_reading ? column.channel : std::string(),
                       .why = column.evidence,
                       .is_set = column.origin == intake::Origin::set});
    }
    return out;
}

// The first rows of each stream; chunks come in the order of the file.
class FirstRows {
  public:
    void take(const intake::StreamId& id, const TraceChunk& chunk) {
        auto& kept = count_[id.number];
        std::size_t piece = 0;
        for (std::size_t row = 0; row < chunk.times_ns.size() && kept < most_first_rows; ++row, ++kept) {
            while (piece + 1 < chunk.pieces.size() && chunk.pieces[piece + 1].first_row <= row) {
                ++piece;
            }
            const auto& from = chunk.pieces[piece];
            SeenRow seen{.line = from.first_line + ((row - from.first_row) * from.line_step),
                         .stream = id.name,
                         .at = Instant::unix_nanoseconds(chunk.times_ns[row]),
                         .values = {}};
            for (const auto& column : chunk.columns) {
                seen.values.push_back(std::isnan(column[row]) ? std::nullopt : std::optional(column[row]));
            }
            rows_.push_back(std::move(seen));
        }
    }

    std::vector<SeenRow> by_line() && {
        std::ranges::stable_sort(rows_, {}, &SeenRow::line);
        return std::move(rows_);
    }

  private:
    std::map<std::uint32_t, std::size_t> count_;
    std::vector<SeenRow> rows_;
};

std::string_view unit_of_kind(ColumnKind kind) {
    switch (kind) {
    case ColumnKind::oxygen_mg_per_l:
        return "mg/L";
    case ColumnKind::oxygen_percent_air:
        return "% of air saturation";
    case ColumnKind::oxygen_kpa:
    case ColumnKind::pressure_kpa:
        return "kPa";
    case ColumnKind::temperature_celsius:
        return "°C";
    case ColumnKind::salinity_practical:
        return "practical salinity";
    case ColumnKind::conductivity_ms_per_cm:
        return "mS/cm";
    case ColumnKind::pump:
        return "1 flush, 0 sealed";
    }
    return "";
}

void read_into(FileLook& look, const fs::path& path, const intake::ReadSettings& settings, Threads threads) {
    const auto dialect = intake::detect(path, settings);
    if (!dialect) {
        look.stop = dialect.error();
        return;
    }
    look.understood = in_words(*dialect);
    look.columns = seen_columns(*dialect);
    FirstRows first;
    std::vector<std::string> readings;
    const auto sink = [&](const intake::StreamId& id, const TraceChunk& chunk) {
        if (readings.empty()) {
            for (const auto& header : chunk.headers) {
                readings.push_back(fmt::format("{} ({})", header.channel.substr(0, header.channel.find('@')),
                                               unit_of_kind(header.kind)));
            }
        }
        first.take(id, chunk);
    };
    auto report = intake::read_trace(path, settings, *dialect, {.threads = threads}, sink);
    if (!report) {
        look.stop = std::move(report).error();
        return;
    }
    look.told = in_words(*report, most_told_rows);
    look.readings = std::move(readings);
    look.first_rows = std::move(first).by_line();
    look.streams = std::move(report->streams);
}

// What is told of an offered file speaks of it by its own name, not of where it lies for the moment.
void name_in(std::vector<std::string>& lines, const OfferedFile& file) {
    const auto path = file.path.string();
    for (auto& line : lines) {
        for (auto at = line.find(path); at != std::string::npos;
             at = line.find(path, at + file.name.size())) {
            line.replace(at, path.size(), file.name);
        }
    }
}

Error named(Error error, const OfferedFile& file) {
    if (!error.place.file.empty()) {
        error.place.file = file.name;
    }
    return error;
}

} // namespace

Expected<FileLook> look_into(const fs::path& folder, const OfferedFile& file, const LookWish& wish,
                             Threads threads) {
    const auto text = read_brief_text(folder);
    if (!text) {
        return fail(text.error());
    }
    const auto brief = intake::read_brief(text->text, brief_name).brief;
    auto source = Expected<TraceSource>(TraceSource{});
    if (!wish.trace.empty()) {
        const auto named = source_named(brief, wish.trace);
        source = named ? Expected<TraceSource>(**named) : fail(named.error());
    } else if (!wish.settings.empty()) {
        source = source_of(wish.settings, brief.study.zone);
    }
    auto settings = source ? intake::read_settings(*source, brief.study.zone) : fail(source.error());
    if (!settings) {
        return fail(std::move(settings).error());
    }
    auto sha256 = sha256_of_file(file.path);
    if (!sha256) {
        return fail(named(std::move(sha256).error(), file));
    }
    FileLook look{.name = file.name, .bytes = fs::file_size(file.path), .sha256 = std::move(*sha256)};
    look.places = places_for(brief, file.name);
    read_into(look, file.path, *settings, threads);
    if (look.stop) {
        look.stop = named(std::move(*look.stop), file);
    }
    name_in(look.told, file);
    return look;
}

namespace {

// ---------------------------------------------------------------- taking in

Error bad_place(const std::string& place, std::string why) {
    return {.code = ErrorCode::bad_setting,
            .found = fmt::format("\"{}\": {}", place, why),
            .expected = "a place for the file below raw/, such as \"raw/boat/day9.csv\""};
}

// Below raw/ by its words, and by where folders and links really lead.
Expected<void> check_place(const fs::path& folder, const std::string& place) {
    const fs::path path = place;
    const auto is_bad_part = [](const fs::path& part) { return part.empty() || part == "." || part == ".."; };
    const bool has_control = std::ranges::any_of(
        place, [](const char c) { return static_cast<unsigned char>(c) < 0x20 || c == '\x7F' || c == '\\'; });
    if (place.size() > longest_place || has_control || std::ranges::any_of(path, is_bad_part) ||
        !place.starts_with("raw/")) {
        return fail(bad_place(place, "no place inside the study"));
    }
    if (place.find_first_of("*?[") != std::string::npos) {
        return fail(bad_place(place, "a name with *, ? or [ would be read as a pattern"));
    }
    std::error_code gone;
    const auto raw = fs::weakly_canonical(folder / "raw", gone);
    const auto real = fs::weakly_canonical(folder / path, gone);
    const auto [end, ignored] = std::mismatch(raw.begin(), raw.end(), real.begin(), real.end());
    if (gone || end != raw.end()) {
        return fail(bad_place(place, "a link leads out of the study"));
    }
    return {};
}

Expected<void> check_free(const fs::path& folder, const std::string& place, const std::string& sha256) {
    std::error_code none;
    if (!fs::exists(fs::symlink_status(folder / place, none))) {
        return {};
    }
    const auto there = sha256_of_file(folder / place);
    if (there && *there == sha256) {
        return {};
    }
    return fail({.code = ErrorCode::duplicate,
                 .found = fmt::format("{} is there already and holds something else", place),
                 .expected = "a name that is free: raw files are never written over",
                 .remedy = "give the file another name"});
}

// The brief with a new [[trace]] at its end.
Expected<std::string> longer_brief(const std::string& text, const study::Brief& brief, const TakeWish& wish) {
    Json settings = Json::parse(wish.settings, nullptr, false);
    if (!settings.is_object()) {
        settings = Json::object();
    }
    settings["files"] = {wish.place};
    const auto name = settings.contains("name") && settings["name"].is_string()
                          ? settings["name"].get<std::string>()
                          : std::string();
    if (name.empty() || source_named(brief, name)) {
        return fail({.code = name.empty() ? ErrorCode::bad_setting : ErrorCode::duplicate,
                     .found = name.empty() ? "a new [[trace]] without a name"
                                           : fmt::format("a [[trace]] \"{}\" is in study.toml already", name),
                     .expected = "a name of its own, by which assemblies.csv calls its channels"});
    }
    auto block = source_of(settings.dump(), brief.study.zone);
    auto words = block ? trace_text(settings.dump()) : fail(block.error());
    if (!words) {
        return words;
    }
    return text + (text.ends_with('\n') ? "\n" : "\n\n") + *words;
}

} // namespace

Expected<Taking> plan_taking(const fs::path& folder, const OfferedFile& file, const TakeWish& wish) {
    if (auto ok = check_place(folder, wish.place); !ok) {
        return fail(std::move(ok).error());
    }
    const auto text = read_brief_text(folder);
    auto sha256 = sha256_of_file(file.path);
    if (!text || !sha256) {
        return fail(!text ? text.error() : named(std::move(sha256).error(), file));
    }
    if (auto free = check_free(folder, wish.place, *sha256); !free) {
        return fail(std::move(free).error());
    }
    Taking out{.from = file.path,
               .place = wish.place,
               .sha256 = std::move(*sha256),
               .brief_was_sha256 = text->sha256,
               .brief = {}};
    const auto brief = intake::read_brief(text->text, brief_name).brief;
    std::vector<std::string> taking;
    for (const auto& source : brief.traces) {
        if (takes(source, wish.place)) {
            taking.push_back(source.name);
        }
    }
    if (taking.size() > 1 || (taking.size() == 1 && !wish.settings.empty())) {
        return fail({.code = ErrorCode::duplicate,
                     .found = fmt::format("[[trace]] \"{}\" of study.toml takes what lies at {}",
                                          taking.front(), wish.place),
                     .expected = "one [[trace]] for each file",
                     .remedy = taking.size() > 1 ? "choose a place that only one of them takes"
                                                 : "take it in with that one, or choose another place"});
    }
    if (taking.empty() && wish.settings.empty()) {
        return fail({.code = ErrorCode::unknown_name,
                     .found = fmt::format("no [[trace]] of study.toml takes what lies at {}", wish.place),
                     .expected = "one that says how to read it",
                     .remedy = "make a new one with it, or choose another place"});
    }
    if (taking.empty()) {
        auto longer = longer_brief(text->text, brief, wish);
        if (!longer) {
            return fail(std::move(longer).error());
        }
        out.brief = std::move(*longer);
    }
    return out;
}

Expected<void> take_in(const fs::path& folder, const Taking& taking) {
    const auto path = folder / taking.place;
    std::error_code bad;
    if (!fs::exists(path, bad)) {
        const auto bytes = read_file(taking.from);
        if (!bytes) {
            return fail(bytes.error());
        }
        fs::create_directories(path.parent_path(), bad);
        if (bad) {
            return fail({.code = ErrorCode::cannot_write,
                         .found = bad.message(),
                         .expected = "a folder that can be written to",
                         .place = {.file = fs::path(taking.place).parent_path().string()}});
        }
        if (auto written = write_new_file(path, *bytes); !written) {
            return written;
        }
    }
    return taking.brief.empty() ? Expected<void>()
                                : replace_brief(folder, taking.brief_was_sha256, taking.brief);
}

} // namespace backeddy::app

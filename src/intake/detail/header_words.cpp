#include "intake/detail/header_words.hpp"

#include <algorithm>
#include <cctype>

#include "base/lower_case.hpp"
#include "intake/detail/fields.hpp"

namespace backeddy::intake {

namespace {

struct Token {
    std::size_t begin = 0;
    std::size_t end = 0;
};

bool is_letter(char c) {
    return std::isalpha(static_cast<unsigned char>(c)) != 0 || static_cast<unsigned char>(c) >= 0x80;
}
bool is_digit(char c) {
    return std::isdigit(static_cast<unsigned char>(c)) != 0;
}
bool is_upper(char c) {
    return std::isupper(static_cast<unsigned char>(c)) != 0;
}
bool is_lower(char c) {
    return std::islower(static_cast<unsigned char>(c)) != 0;
}

// Runs of letters and digits, and single signs that units are made of; cut where a small letter meets a
// capital.
std::vector<Token> tokens_of(std::string_view text) {
    std::vector<Token> tokens;
    for (std::size_t i = 0; i < text.size();) {
        const char c = text[i];
        if (c == '%') {
            tokens.push_back({i, i + 1});
            ++i;
            continue;
        }
        if (!is_letter(c) && !is_digit(c)) {
            ++i;
            continue;
        }
        std::size_t end = i + 1;
        while (end < text.size() && (is_letter(text[end]) || is_digit(text[end])) &&
               !(is_lower(text[end - 1]) && is_upper(text[end]))) {
            ++end;
        }
        tokens.push_back({i, end});
        i = end;
    }
    return tokens;
}

std::string plain_word(std::string_view text) {
    std::string word = lower_case(text);
    for (const std::string_view two : {"\u2082", "\u00b2"}) { // O₂
        if (const auto at = word.find(two); at != std::string::npos) {
            word.replace(at, two.size(), "2");
        }
    }
    return word;
}

// A letter or two that is a unit only in the right company.
bool is_short_unit(std::string_view slice) {
    return slice.size() <= 2 && slice != "%" && lower_case(slice) != "um";
}

bool is_temperature_word(std::string_view word) {
    return word == "temp" || word == "temperature" || word == "thermistor" || word == "watertemp";
}

void find_bracketed_unit(std::string_view header, HeaderWords& out) {
    out.without_unit = header;
    for (std::size_t at = 0; at < header.size(); ++at) {
        const char open = header[at];
        if (open != '[' && open != '(' && open != '{' && open != '<') {
            continue;
        }
        const char close = open == '[' ? ']' : open == '(' ? ')' : open == '{' ? '}' : '>';
        const auto end = header.find(close, at + 1);
        if (end == std::string_view::npos) {
            continue;
        }
        const auto inner = trimmed(header.substr(at + 1, end - at - 1));
        const auto unit = unit_from(inner);
        if (unit || out.unit_text.empty()) {
            out.unit_text = inner;
            out.unit = unit;
        }
        if (unit) {
            out.without_unit =
                std::string(trimmed(header.substr(0, at))) + std::string(header.substr(end + 1));
            return;
        }
    }
}

void find_loose_unit(std::string_view header, const std::vector<Token>& tokens, HeaderWords& out) {
    const bool temperature = out.has_any({"t", "tw"}) || // "T_C"; alone, t may be time
                             std::any_of(out.words.begin(), out.words.end(), is_temperature_word);
    for (std::size_t length = tokens.size(); length >= 1; --length) {
        for (std::size_t first = 0; first + length <= tokens.size(); ++first) {
            std::size_t begin = tokens[first].begin;
            const auto slice = header.substr(begin, tokens[first + length - 1].end - begin);
            const auto unit = unit_from(slice);
            if (!unit || (is_short_unit(slice) && !(temperature && first > 0))) {
                continue;
            }
            out.unit = unit;
            out.unit_text = slice;
            return;
        }
    }
}

} // namespace

bool HeaderWords::has_any(std::initializer_list<std::string_view> wanted) const {
    return std::any_of(words.begin(), words.end(), [&](const std::string& word) {
        return std::find(wanted.begin(), wanted.end(), word) != wanted.end();
    });
}

HeaderWords header_words(std::string_view header, std::string_view units_cell) {
    HeaderWords out;
    header = trimmed(header);
    const auto tokens = tokens_of(header);
    for (const auto& token : tokens) {
        std::string word = plain_word(header.substr(token.begin, token.end - token.begin));
        // "temp1", "ch3", "o2": the letters alone are a word too, except where the digit belongs to it
        const auto digits = word.find_first_of("0123456789");
        if (digits != std::string::npos && digits > 0 &&
            word.find_first_not_of("0123456789", digits) == std::string::npos) {
            out.words.push_back(word.substr(0, digits));
        }
        out.words.push_back(std::move(word));
    }
    for (std::size_t i = 0; i + 1 < tokens.size(); ++i) { // "pO2" was cut into p and O2
        if (tokens[i].end == tokens[i + 1].begin) {
            out.words.push_back(
                plain_word(header.substr(tokens[i].begin, tokens[i + 1].end - tokens[i].begin)));
        }
    }
    if (!trimmed(units_cell).empty()) {
        std::string_view inner = trimmed(units_cell);
        if (inner.size() > 2 && (inner.front() == '[' || inner.front() == '(')) {
            inner = trimmed(inner.substr(1, inner.size() - 2));
        }
        out.unit_text = inner;
        out.unit = unit_from(inner);
        out.without_unit = header;
        if (out.unit) {
            return out;
        }
    }
    HeaderWords bracketed;
    find_bracketed_unit(header, bracketed);
    if (out.unit_text.empty() || bracketed.unit) {
        out.unit_text = bracketed.unit_text;
        out.unit = bracketed.unit;
        out.without_unit = bracketed.without_unit;
    }
    if (!out.unit) {
        const std::string kept = out.unit_text;
        find_loose_unit(header, tokens, out);
        if (!out.unit) {
            out.unit_text = kept;
        }
    }
    return out;
}

std::optional<ColumnUse> reading_use(const HeaderWords& words) {
    const bool oxygen = words.has_any({"o2", "do", "oxygen", "oxy", "po2", "dissolved"});
    const bool temperature = std::any_of(words.words.begin(), words.words.end(), is_temperature_word);
    const bool pressure = words.has_any({"pressure", "press", "baro", "barometric", "barometer", "bp", "atm",
                                         "atmospheric", "p", "patm", "pbaro"});
    if (words.unit) {
        switch (*words.unit) {
        case Unit::mg_per_l:
        case Unit::umol_per_l:
        case Unit::ml_per_l:
            return words.has_any({"chl", "chlorophyll", "nitrate", "no3", "nh4", "ammonia", "ammonium", "tds",
                                  "co2", "turbidity", "tss"})
                       ? std::nullopt
                       : std::optional(ColumnUse::oxygen);
        case Unit::percent_air: {
            const bool says_air = lower_case(words.unit_text).find('a') != std::string::npos;
            return oxygen || says_air || words.has_any({"sat", "saturation", "airsat"})
                       ? std::optional(ColumnUse::oxygen)
                       : std::nullopt;
        }
        case Unit::kilopascal:
        case Unit::hectopascal:
        case Unit::mmhg:
            return oxygen     ? std::optional(ColumnUse::oxygen)
                   : pressure ? std::optional(ColumnUse::pressure)
                              : std::nullopt;
        case Unit::bar:
        case Unit::inches_hg:
        case Unit::psi:
            return oxygen ? std::nullopt : std::optional(ColumnUse::pressure);
        case Unit::celsius:
        case Unit::fahrenheit:
        case Unit::kelvin:
            return ColumnUse::temperature;
        case Unit::practical_salinity:
            return ColumnUse::salinity;
        case Unit::ms_per_cm:
        case Unit::us_per_cm:
        case Unit::s_per_m:
            return ColumnUse::conductivity;
        case Unit::pump_word:
            break;
        }
    }
    if (words.has_any({"raw",     "phase",    "dphi",        "amplitude", "amp",     "signal",    "intensity",
                       "voltage", "volt",     "volts",       "mv",        "battery", "batt",      "error",
                       "quality", "humidity", "depth",       "ph",        "orp",     "turbidity", "sd",
                       "std",     "stdev",    "uncertainty", "count",     "counts"})) {
        return std::nullopt;
    }
    if (temperature && !words.has_any({"compensated"})) {
        return ColumnUse::temperature;
    }
    if (words.has_any({"sal", "salinity"})) {
        return ColumnUse::salinity;
    }
    if (words.has_any({"cond", "conductivity", "conductance", "ec", "spc"})) {
        return ColumnUse::conductivity;
    }
    if (words.has_any({"o2", "do", "oxygen", "oxy", "po2", "saturation", "airsat"})) {
        return ColumnUse::oxygen;
    }
    if (words.has_any({"pressure", "press", "baro", "barometric", "barometer", "bp", "patm", "pbaro"})) {
        return ColumnUse::pressure;
    }
    if (words.has_any({"pump", "flush", "flushing", "valve", "relay", "state"})) {
        return ColumnUse::pump;
    }
    return std::nullopt;
}

std::optional<TimeForm> elapsed_form(const HeaderWords& words) {
    const auto unit = lower_case(words.unit_text);
    const auto says = [&](std::initializer_list<std::string_view> wanted) {
        return words.has_any(wanted) || std::find(wanted.begin(), wanted.end(), unit) != wanted.end();
    };
    if (says({"s", "sec", "secs", "second", "seconds"})) {
        return TimeForm::elapsed_seconds;
    }
    if (says({"min", "mins", "minute", "minutes"})) {
        return TimeForm::elapsed_minutes;
    }
    if (says({"h", "hr", "hrs", "hour", "hours"})) {
        return TimeForm::elapsed_hours;
    }
    return std::nullopt;
}

bool names_time(const HeaderWords& words) {
    return words.has_any({"time", "timestamp", "datetime", "date", "elapsed", "clock", "epoch", "unix", "day",
                          "moment", "instant", "utc", "gmt"}) ||
           (words.words.size() <= 2 && elapsed_form(words).has_value());
}

bool names_chamber(const HeaderWords& words) {
    return words.has_any({"chamber", "chamberid", "tube", "vial", "tank", "channel", "ch", "chan", "box",
                          "respirometer", "station", "position", "well"});
}

bool says_utc(const HeaderWords& words) {
    return words.has_any({"utc", "gmt", "zulu"});
}

} // namespace backeddy::intake

#pragma once
// All of Boost.Asio that instruments use comes through here: Debian's Boost 1.74 uses std::exchange without
// including it.

#include <utility>

#include <boost/asio/buffer.hpp>
#include <boost/asio/connect.hpp>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/serial_port.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>

namespace backeddy::instruments {

namespace asio = boost::asio;
using boost::system::error_code;
using tcp = boost::asio::ip::tcp;

struct LoopContext {
    asio::io_context io{1};
};

} // namespace backeddy::instruments

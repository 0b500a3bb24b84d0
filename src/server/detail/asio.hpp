#pragma once
// All of Boost.Asio that the server uses comes through here: Debian's Boost 1.74 uses std::exchange without
// including it, and does not know that Clang has coroutines.

#include <utility>

#if defined(__clang__)
#define BOOST_ASIO_HAS_CO_AWAIT 1
#define BOOST_ASIO_HAS_STD_COROUTINE 1
#endif

#if defined(__GNUC__) && !defined(__clang__)
// A coroutine's frame is made and freed by the library's own pair, of which GCC 12 sees one half.
#pragma GCC diagnostic ignored "-Wmismatched-new-delete"
#endif

#include <boost/asio/awaitable.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/v6_only.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/asio/use_awaitable.hpp>

namespace backeddy::server {

namespace asio = boost::asio;
using boost::system::error_code;
using tcp = boost::asio::ip::tcp;

} // namespace backeddy::server

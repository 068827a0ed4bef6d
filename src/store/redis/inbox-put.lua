-- Keeps something for whoever acts for the shard. The same id again, also once it is done: nothing more.
-- KEYS: prefix of the shard. ARGV: id, content, most that may wait.
local shard = KEYS[1]
local id, content, most = unpack(ARGV)
if redis.call('HEXISTS', shard .. 'inbox', id) == 1 or redis.call('EXISTS', shard .. 'answer:' .. id) == 1 then return 'kept' end
if redis.call('LLEN', shard .. 'inbox-order') >= tonumber(most) then return 'full' end
redis.call('HSET', shard .. 'inbox', id, content)
redis.call('RPUSH', shard .. 'inbox-order', id)
return 'kept'

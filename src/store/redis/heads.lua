-- Cases without what they hold, each as its id, channel, chat, event number, closed, changed at, place of opening.
-- KEYS: prefix of the shard. ARGV: `recent` and the instant since when; `of-chat`, channel and chat; or `closed-before` and
-- the instant.
local shard = KEYS[1]
local ids = {}
if ARGV[1] == 'recent' then
  ids = redis.call('SMEMBERS', shard .. 'open')
  for _, set in ipairs({ 'closed', 'erased' }) do
    for _, id in ipairs(redis.call('ZRANGEBYSCORE', shard .. set, ARGV[2], '+inf')) do ids[#ids + 1] = id end
  end
elseif ARGV[1] == 'of-chat' then
  ids = redis.call('LRANGE', shard .. 'chat:' .. ARGV[2] .. '\n' .. ARGV[3], 0, -1)
else
  ids = redis.call('ZRANGEBYSCORE', shard .. 'closed', '-inf', '(' .. ARGV[2])
end
local heads = {}
for i, id in ipairs(ids) do
  heads[i] = redis.call('HMGET', shard .. 'case:' .. id, 'channel', 'chat', 'seq', 'closed', 'at', 'opened')
  table.insert(heads[i], 1, id)
end
return heads

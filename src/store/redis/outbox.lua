-- The rows of a case, oldest first, each as its effect id, its fields, and its text.
-- KEYS: prefix of the shard. ARGV: case.
local shard = KEYS[1]
local rows = {}
for i, id in ipairs(redis.call('LRANGE', shard .. 'rows:' .. ARGV[1], 0, -1)) do
  rows[i] = { id, redis.call('HGETALL', shard .. 'row:' .. id), redis.call('GET', shard .. 'text:' .. id) }
end
return rows
